"""The list of mates of one animal and the genetics of the collection, in words and pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from apps.animals.choices import Purpose, Status
from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal, Species
from apps.animals.pages.kinship_svg import Part, founders_svg, spread_svg
from apps.animals.selectors.kinship import (
    CollectionKinship,
    breeders_here,
    collection_kinship,
    everybody_here,
    recorded_pedigree,
)
from apps.animals.selectors.mates import Mate, MateList
from apps.animals.selectors.species import profile_numbers
from apps.core.formats import count_text
from apps.core.units import money_text

FOUNDERS_DRAWN = 24
RARE = 20


@dataclass(frozen=True, slots=True)
class MateRow:
    """One candidate as it is shown; `others` are the codes of the cross page's address."""

    animal: Animal
    kinship: str
    mean: str
    young_mean: str
    value: str
    reasons: list[str]
    over: bool
    dam: str
    sire: str


@dataclass(frozen=True, slots=True)
class MatesPage:
    """The sheet. `doubt` says what makes every kinship a lower bound."""

    lead: str
    doubt: str
    rows: list[MateRow]
    kept_out: list[tuple[Animal, str]]
    has_values: bool
    value_note: str
    mean_words: str


@dataclass(frozen=True, slots=True)
class CollectionPage:
    """The collection of one species. `fault` stands alone when the lineage cannot be read."""

    species: Species
    everybody: bool
    lead: str = ""
    fault: str = ""
    facts: tuple[tuple[str, str, str], ...] = ()
    inbred_svg: str = ""
    mean_svg: str = ""
    founders_svg: str = ""
    founders_left: str = ""
    rare: tuple[tuple[Animal, str, str], ...] = ()
    inbred: tuple[tuple[Animal, str], ...] = ()


def figure(value: float) -> str:
    """A kinship in the digits it deserves: ``0``, ``0.125``, ``0.0313``."""
    return f"{value:.4f}".rstrip("0").rstrip(".") if value else "0"


def mates_page(found: MateList, *, show_money: bool) -> MatesPage:
    """The list in words."""
    money = show_money and found.has_values
    rows = [_row(found, mate, money) for mate in found.suggested]
    kept_out = [(mate.animal, "; ".join(block.words for block in mate.blocks)) for mate in found.kept_out]
    within = sum(not mate.over_limit for mate in found.suggested)
    lead = found.why_none or f"{count_text(within, 'breeder')} within the house’s limit of kinship"
    if not found.why_none:
        over = len(found.suggested) - within
        lead = f"{lead}{f', {over} above it' if over else ''}{f', {len(kept_out)} kept out' if kept_out else ''}."
    note = ""
    if money and found.not_valued:
        note = f"{count_text(found.not_valued, 'mate')} not valued: their traits cannot be read or there was no time."
    elif show_money and not found.has_values and not found.why_none:
        note = "No trait values are set, so nothing is valued."
    return MatesPage(lead, _doubt(found), rows, kept_out, money, note, _mean_words(found))


def _doubt(found: MateList) -> str:
    if not found.missing:
        return ""
    words = " and ".join(found.missing)
    verb = "are" if len(found.missing) > 1 else "is"
    return (
        f"The {words} of {found.animal.code} {verb} not recorded, so every kinship below is a lower bound: "
        "they may be closer relatives than it says."
    )


def _mean_words(found: MateList) -> str:
    if found.mean_kinship is None or found.overall is None:
        return ""
    where = "below" if found.mean_kinship < found.overall else "not below"
    return (
        f"Mean kinship of {found.animal.code} with the breeders here {figure(found.mean_kinship)}, {where} theirs "
        f"among each other ({figure(found.overall)})."
    )


def _row(found: MateList, mate: Mate, money: bool) -> MateRow:
    dam, sire = (found.animal, mate.animal) if found.animal.sex == "female" else (mate.animal, found.animal)
    bound = "at least " if found.missing or mate.missing else ""
    value = ""
    if money:
        value = money_text(round(mate.worth), found.currency) if isinstance(mate.worth, Fraction) else "not valued"
    return MateRow(
        animal=mate.animal,
        kinship=f"{bound}{figure(mate.kinship)}",
        mean=figure(mate.mean_kinship),
        young_mean=figure(mate.young_mean),
        value=value,
        reasons=_reasons(found, mate),
        over=mate.over_limit,
        dam=dam.code,
        sire=sire.code,
    )


def _reasons(found: MateList, mate: Mate) -> list[str]:
    said = []
    if mate.over_limit and found.limit is not None:
        said.append(f"Above the limit of {figure(found.limit)} (house rule): the rota never plans this pair.")
    elif not mate.kinship:
        said.append("No common ancestor is recorded.")
    if mate.missing:
        said.append(f"{' and '.join(mate.missing).capitalize()} of {mate.animal.code} not recorded: a lower bound.")
    if found.overall is not None and mate.mean_kinship < found.overall:
        said.append("Of lines that are rare here.")
    said += [f"Held: {hold.word}, {hold.reason}." for hold in mate.holds]
    return said


def collection_page(species: Species, *, everybody: bool) -> CollectionPage:
    """The genetics of the breeders here, or of everybody here."""
    try:
        recorded = recorded_pedigree(species)
    except LineageFaulty as error:
        return CollectionPage(species, everybody, fault=error.message)
    members = everybody_here(species) if everybody else breeders_here(species)
    if not members:
        return CollectionPage(species, everybody)
    found = collection_kinship(recorded, members)
    limit = profile_numbers(species).get("rota.kinship_limit")
    drawn = [Part(one.code, one.share, "" if one.is_here else "not here") for one in found.founders[:FOUNDERS_DRAWN]]
    rest = found.founders[FOUNDERS_DRAWN:]
    if rest:
        drawn.append(Part(f"{len(rest)} others", sum(one.share for one in rest), quiet=True))
    if found.unknown_share:
        drawn.append(Part("not recorded", found.unknown_share, quiet=True))
    # members stand by code, and sorting keeps that order among equals
    by_mean = sorted(zip(found.mean_kinship.tolist(), members, strict=True), key=lambda pair: pair[0])
    by_f = sorted(zip(found.inbred.tolist(), members, strict=True), key=lambda pair: -pair[0])
    sex = {"male": "male", "female": "female"}
    return CollectionPage(
        species=species,
        everybody=everybody,
        lead=_lead(found),
        facts=_facts(found),
        inbred_svg=spread_svg(found.inbred.tolist(), title="Inbreeding", of="F of the animal", limit=limit),
        mean_svg=spread_svg(found.mean_kinship.tolist(), title="Mean kinship", of="mean kinship with the others"),
        founders_svg=founders_svg(drawn, title="What each founder gave"),
        founders_left=_founders_words(found),
        rare=tuple((one, figure(mean), sex.get(one.sex, "sex unknown")) for mean, one in by_mean[:RARE]),
        inbred=tuple((one, figure(f)) for f, one in by_f[:RARE] if f > 0),
    )


def _lead(found: CollectionKinship) -> str:
    assert found.founder_genome_equivalents is not None
    return (
        f"{count_text(len(found.animals), 'animal')} hold as much variety as "
        f"{found.founder_genome_equivalents:.1f} unrelated founders would."
    )


def _facts(found: CollectionKinship) -> tuple[tuple[str, str, str], ...]:
    assert found.gene_diversity is not None
    assert found.founder_equivalents is not None
    assert found.founder_genome_equivalents is not None
    half = f", {found.one_parent} lack one" if found.one_parent else ""
    return (
        ("Mean kinship", figure(1.0 - found.gene_diversity), "of every member with every other and itself"),
        ("Gene diversity", f"{100 * found.gene_diversity:.1f} %", "1 less the mean kinship"),
        (
            "Effective founders",
            f"{found.founder_equivalents:.1f}",
            "as many founders, each giving the same share, would give this spread of shares",
        ),
        (
            "Founder genomes",
            f"{found.founder_genome_equivalents:.1f}",
            "as many unrelated founders would have this mean kinship: what drift has left of them",
        ),
        (
            "Parents not recorded",
            f"{found.no_parent} of {len(found.animals)} lack both{half}",
            "each missing parent counts as a founder of its own, so kinship is a lower bound and variety an upper one",
        ),
    )


def _founders_words(found: CollectionKinship) -> str:
    words = f"{count_text(len(found.founders), 'founder')} with a code"
    if found.unknown_sources:
        words += (
            f"; {100 * found.unknown_share:.1f} % comes from {count_text(found.unknown_sources, 'parent')} "
            "nobody recorded"
        )
    return f"{words}."


def has_breeders(kinds: Sequence[Species]) -> list[Species]:
    """Those of which a breeder is here."""
    here = set(
        Animal.objects.filter(status=Status.HERE, purpose=Purpose.BREEDER, species__in=kinds).values_list(
            "species_id", flat=True
        )
    )
    return [one for one in kinds if one.pk in here]
