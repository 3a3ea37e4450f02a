"""Builds a `Catalogue` from the mapping a trait file holds, and refuses a file that contradicts itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar, cast

from apps.engines.genetics.catalogue import (
    BLOCKING,
    Allele,
    Catalogue,
    Combination,
    Compound,
    Figure,
    Harm,
    Inheritance,
    LineBred,
    LinkageGroup,
    Locus,
    SexSystem,
    TwoCopies,
    WelfareFact,
)
from apps.engines.genetics.errors import CatalogueError

Plain = Mapping[str, object]
EVIDENCE = ("common practice", "published", "published gene, common practice relation", "disputed")
"""Classes of evidence, the commonest first."""


def catalogue_from_mapping(mapping: Plain) -> Catalogue:
    """Read one species' trait file, already parsed into plain mappings.

    Raises CatalogueError naming the place when a name is used twice, a reference points nowhere, or a figure
    has no source.
    """
    sources = {str(key): str(value) for key, value in _mapping(mapping, "sources", "$").items()}
    default = _figure(_mapping(mapping, "default_allele_frequency", "$"), "$.default_allele_frequency", sources)
    loci = tuple(
        _locus(row, f"$.loci[{index}]", sources, default) for index, row in enumerate(_rows(mapping, "loci", "$"))
    )
    locus_of = {allele.name: locus for locus in loci for allele in locus.alleles}
    by_code = {locus.code: locus for locus in loci}
    if len(by_code) != len(loci):
        raise CatalogueError("$.loci", "a series code stands twice")
    if len(locus_of) != sum(len(locus.alleles) for locus in loci):
        raise CatalogueError("$.loci", "a trait name stands twice")
    catalogue = Catalogue(
        species=_text(mapping, "species", "$"),
        slug=_text(mapping, "slug", "$"),
        common_name=_text(mapping, "common_name", "$"),
        version=_text(mapping, "version", "$"),
        sex_system=_choice(mapping, "sex_system", "$", SexSystem),
        loci=loci,
        line_bred=tuple(
            _line_bred(row, f"$.line_bred[{index}]", sources)
            for index, row in enumerate(_rows(mapping, "line_bred", "$", required=False))
        ),
        combinations=tuple(
            Combination(str(name), _copies(value, f"$.combinations.{name}", locus_of))
            for name, value in _mapping(mapping, "combinations", "$", required=False).items()
        ),
        several_lines={
            str(word): tuple(str(name) for name in cast("Sequence[object]", names))
            for word, names in _mapping(mapping, "several_lines", "$", required=False).items()
        },
        linkage=tuple(
            _linkage(row, f"$.linkage[{index}]", by_code)
            for index, row in enumerate(_rows(mapping, "linkage", "$", required=False))
        ),
        welfare=tuple(
            _welfare(row, f"$.welfare[{index}]", sources, locus_of)
            for index, row in enumerate(_rows(mapping, "welfare", "$", required=False))
        ),
        default_frequency=default,
        block_share=_figure(_mapping(mapping, "welfare_block_share", "$"), "$.welfare_block_share", sources),
        locus_of=locus_of,
        by_code=by_code,
    )
    _check_words(catalogue)
    _check_welfare(catalogue)
    return catalogue


def _locus(row: Plain, where: str, sources: Mapping[str, str], default: Figure) -> Locus:
    alleles = tuple(
        _allele(item, f"{where}.traits[{index}]", sources, default)
        for index, item in enumerate(_rows(row, "traits", where))
    )
    names = [allele.name for allele in alleles]
    compounds: dict[frozenset[str], Compound] = {}
    for index, item in enumerate(_rows(row, "compounds", where, required=False)):
        pair = _texts(item, "pair", f"{where}.compounds[{index}]")
        if len(set(pair)) != 2 or not set(pair) <= set(names):
            raise CatalogueError(f"{where}.compounds[{index}].pair", "names two different traits of this series")
        seen = _texts(item, "looks", f"{where}.compounds[{index}]", required=False) or tuple(
            name for name in names if name in pair
        )
        carries = tuple(name for name in names if name in pair and name not in seen)
        key = frozenset(pair)
        compounds[key] = Compound(
            key, seen, carries, _texts(item, "called", f"{where}.compounds[{index}]", required=False)
        )
    linked = bool(row.get("sex_linked", False))
    figure = row.get("recombination")
    if linked and not isinstance(figure, Mapping):
        raise CatalogueError(where, "a sex-linked series needs a recombination figure")
    return Locus(
        code=_text(row, "code", where),
        gene=str(row.get("gene", "") or ""),
        alleles=alleles,
        compounds=compounds,
        sex_linked=linked,
        hemizygous=bool(row.get("hemizygous", False)),
        recombination=_figure(cast("Plain", figure), f"{where}.recombination", sources) if linked else None,
    )


def _allele(row: Plain, where: str, sources: Mapping[str, str], default: Figure) -> Allele:
    name = _text(row, "name", where)
    inheritance = _choice(row, "inheritance", where, Inheritance)
    usual = TwoCopies.SAME_AS_ONE if inheritance is Inheritance.DOMINANT else TwoCopies.DISTINCT
    frequency = row.get("frequency")
    return Allele(
        name=name,
        label=str(row.get("label", name)),
        inheritance=inheritance,
        two_copies=_choice(row, "two_copies", where, TwoCopies, usual),
        evidence=_evidence(row, where),
        source=_source(row, where, sources),
        aliases=_texts(row, "aliases", where, required=False),
        super_names=_texts(row, "super_names", where, required=False),
        note=str(row.get("note", "")),
        frequency=default.value if frequency is None else _fraction(frequency, f"{where}.frequency"),
    )


def _line_bred(row: Plain, where: str, sources: Mapping[str, str]) -> LineBred:
    name = _text(row, "name", where)
    return LineBred(
        name,
        str(row.get("label", name)),
        _evidence(row, where),
        _source(row, where, sources),
        _texts(row, "aliases", where, required=False),
        str(row.get("note", "")),
    )


def _welfare(row: Plain, where: str, sources: Mapping[str, str], known: Mapping[str, Locus]) -> WelfareFact:
    who = str(row.get("who", "any"))
    if who not in ("any", "dam"):
        raise CatalogueError(f"{where}.who", f"{who!r} is neither any nor dam")
    harm = _choice(row, "harm", where, Harm)
    return WelfareFact(
        copies=_copies(row.get("when"), f"{where}.when", known),
        fact=_text(row, "fact", where),
        evidence=f"{_evidence(row, where)}: {_source(row, where, sources)}",
        as_dam=who == "dam",
        harm=harm,
        blocks=bool(row.get("blocks", harm in BLOCKING)),
    )


def _linkage(row: Plain, where: str, known: Mapping[str, Locus]) -> LinkageGroup:
    codes = _texts(row, "loci", where)
    rates = tuple(
        _fraction(value, f"{where}.recombination") for value in cast("Sequence[object]", row.get("recombination", ()))
    )
    if len(rates) != len(codes) - 1 or not set(codes) <= set(known):
        raise CatalogueError(where, "loci are known series codes and there is one recombination between neighbours")
    return LinkageGroup(codes, rates)


def _check_words(catalogue: Catalogue) -> None:
    """One word, one meaning: a name, alias, combination or bare word that means two things is a mistake here."""
    meaning: dict[str, str] = {}

    def claim(word: str, target: str) -> None:
        key = word.casefold()
        if meaning.setdefault(key, target) != target:
            raise CatalogueError("$", f"the word {word!r} means both {meaning[key]!r} and {target!r}")

    traits: list[Allele | LineBred] = [*catalogue.alleles(), *catalogue.line_bred]
    for trait in traits:
        for word in (trait.name, trait.label, *trait.aliases):
            claim(word, trait.name)
    for allele in catalogue.alleles():
        for word in allele.super_names:
            claim(word, f"super {allele.name}")
    for locus in catalogue.loci:
        for compound in locus.compounds.values():
            for word in compound.called:
                claim(word, "/".join(sorted(compound.pair)))
    for combination in catalogue.combinations:
        claim(combination.name, f"combination {combination.name}")
    for word, names in catalogue.several_lines.items():
        claim(word, f"several lines of {word}")
        if not set(names) <= set(catalogue.names()):
            raise CatalogueError(f"$.several_lines.{word}", "lists a trait that the catalogue does not have")


def _check_welfare(catalogue: Catalogue) -> None:
    """Every pattern once (its name is what an owner lifts), and a lethal genotype never without its fact."""
    names = [fact.name for fact in catalogue.welfare]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise CatalogueError("$.welfare", f"the pattern {twice!r} stands twice: say all of it in one fact")
    told = {next(iter(fact.copies)) for fact in catalogue.welfare if list(fact.copies.values()) == [2]}
    for allele in catalogue.alleles():
        if allele.two_copies is TwoCopies.LETHAL and allele.name not in told:
            raise CatalogueError("$.welfare", f"two copies of {allele.name!r} are lethal, and no welfare fact says so")


def _copies(value: object, where: str, known: Mapping[str, Locus]) -> dict[str, int]:
    if not isinstance(value, Mapping) or not value:
        raise CatalogueError(where, "is a mapping of trait name to number of copies")
    copies = {str(name): int(number) for name, number in value.items()}
    for name, number in copies.items():
        if name not in known or number not in (1, 2):
            raise CatalogueError(where, f"{name!r} is a trait of this file with 1 or 2 copies")
    return copies


def _figure(row: Plain, where: str, sources: Mapping[str, str]) -> Figure:
    return Figure(
        _fraction(row.get("value"), f"{where}.value"), _source(row, where, sources), _text(row, "confidence", where)
    )


def _fraction(value: object, where: str) -> Fraction:
    try:
        return Fraction(str(value))
    except (ValueError, ZeroDivisionError) as error:
        raise CatalogueError(where, f"{value!r} is not a number") from error


Word = TypeVar("Word", bound=StrEnum)


def _choice(row: Plain, key: str, where: str, words: type[Word], usual: Word | None = None) -> Word:
    value = row.get(key, usual)
    if value not in list(words):
        raise CatalogueError(f"{where}.{key}", f"{value!r} is none of {', '.join(words)}")
    return words(str(value))


def _evidence(row: Plain, where: str) -> str:
    word = _text(row, "evidence", where)
    if word not in EVIDENCE:
        raise CatalogueError(f"{where}.evidence", f"{word!r} is not an evidence class")
    return word


def _source(row: Plain, where: str, sources: Mapping[str, str]) -> str:
    keys = row.get("source")
    listed = [str(key) for key in keys] if isinstance(keys, list) else [str(keys)]
    missing = [key for key in listed if key not in sources]
    if missing:
        raise CatalogueError(f"{where}.source", f"{', '.join(missing)} is not listed under sources")
    return "; ".join(sources[key] for key in listed)


def _text(row: Plain, key: str, where: str) -> str:
    value = row.get(key)
    if not isinstance(value, str) or not value.strip():
        raise CatalogueError(f"{where}.{key}", "a text is missing")
    return value


def _texts(row: Plain, key: str, where: str, *, required: bool = True) -> tuple[str, ...]:
    value = row.get(key)
    if value is None and not required:
        return ()
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise CatalogueError(f"{where}.{key}", "is a list of texts")
    return tuple(value)


def _mapping(row: Plain, key: str, where: str, *, required: bool = True) -> Plain:
    value = row.get(key)
    if value is None and not required:
        return {}
    if not isinstance(value, Mapping):
        raise CatalogueError(f"{where}.{key}", "is a mapping")
    return value


def _rows(row: Plain, key: str, where: str, *, required: bool = True) -> list[Plain]:
    value = row.get(key)
    if value is None and not required:
        return []
    if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
        raise CatalogueError(f"{where}.{key}", "is a list of mappings")
    return value
