"""Reads trade notation ("Pastel Clown 66% het Piebald") into a belief. Unknown words are errors, never guesses."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from apps.engines.genetics.belief import ONE, Belief, LocusBelief
from apps.engines.genetics.catalogue import WILD, Catalogue, Genotype, Locus, lethal
from apps.engines.genetics.errors import NotationError
from apps.engines.genetics.vocabulary import SEPARATOR, Vocabulary, Word, tokens_of, trade_percent, vocabulary_of

Copies = Literal["plain", "one", "two"]
MOST_CHARACTERS = 2_000
PERCENT = re.compile(r"^(\d{1,3}(?:\.\d{1,6})?)%$")


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing said about one allele: as named plainly, one copy (het) or two, with the share it holds for."""

    allele: str
    copies: Copies
    share: Fraction = ONE


@dataclass(slots=True)
class _Reading:
    catalogue: Catalogue
    words: Vocabulary
    tokens: list[str]
    place: int = 0
    said: list[Statement] = field(default_factory=list)
    line_bred: list[str] = field(default_factory=list)
    normal: bool = False

    def peek(self) -> str:
        return self.tokens[self.place] if self.place < len(self.tokens) else ""


def parse_notation(text: str, catalogue: Catalogue) -> Belief:
    """The belief a notation states; loci that it does not name are wild type.

    Raises NotationError naming the word, with near matches or the lines to choose from.
    """
    if len(text) > MOST_CHARACTERS:
        raise NotationError(f"a notation is at most {MOST_CHARACTERS} characters")
    reading = _Reading(catalogue, vocabulary_of(catalogue), _with_percent(tokens_of(text)))
    if all(token == SEPARATOR for token in reading.tokens):
        raise NotationError("the notation is empty.", fix="Write traits, or normal.")
    while reading.place < len(reading.tokens):
        _read_item(reading)
    loci = {
        locus.code: belief
        for locus in catalogue.loci
        if (belief := _locus_belief(locus, [item for item in reading.said if _at(locus, item)])) is not None
    }
    if reading.normal and (
        reading.line_bred or any(_seen(catalogue, item) for item in reading.said if item.share == 1)
    ):
        raise NotationError(
            "normal stands beside a trait that is seen.", word="normal", fix="Leave out one of the two."
        )
    return Belief(loci, tuple(dict.fromkeys(reading.line_bred)))


def _with_percent(tokens: list[str]) -> list[str]:
    """`66 %` and `66%` are the same word."""
    joined: list[str] = []
    for token in tokens:
        if token == "%" and joined and re.fullmatch(r"\d+(\.\d+)?", joined[-1]):
            joined[-1] += "%"
        else:
            joined.append(token)
    return joined


def _read_item(reading: _Reading) -> None:
    found = reading.words.match(reading.tokens, reading.place)
    if found is not None:
        word, reading.place = found
        _say_plain(reading, word)
        return
    token = reading.peek()
    percent = PERCENT.match(token)
    if token == SEPARATOR:
        reading.place += 1
    elif token == "normal":
        reading.place += 1
        reading.normal = True
    elif percent:
        reading.place += 1
        _read_percent(reading, percent.group(1))
    elif token == "het":
        reading.place += 1
        _say_het(reading, ONE)
    elif token in ("double", "triple"):
        _read_multiple(reading, token)
    elif token in ("super", "homozygous"):
        reading.place += 1
        _say_two(reading, token)
    elif token in ("possible", "poss"):
        raise NotationError("a possible het needs its percentage.", word=token, fix="Write it as 50% het Clown.")
    else:
        raise _unknown(reading)


def _read_percent(reading: _Reading, digits: str) -> None:
    share = Fraction(*trade_percent(digits))
    if share > 1:
        raise NotationError(f"{digits}% is more than 100%.", word=f"{digits}%", fix="Write a percentage of 0 to 100.")
    if reading.peek() in ("possible", "poss"):
        reading.place += 1
    if reading.peek() in ("double", "triple"):
        raise NotationError(
            f"{digits}% {reading.peek()} het can be read in two ways.",
            word=reading.peek(),
            fix=f"Write {digits}% het before each trait.",
        )
    if reading.peek() != "het":
        raise NotationError(f"after {digits}% comes het.", word=reading.peek(), fix=f"Write {digits}% het Clown.")
    reading.place += 1
    _say_het(reading, share)


def _read_multiple(reading: _Reading, token: str) -> None:
    reading.place += 1
    if reading.peek() != "het":
        raise NotationError(f"after {token} comes het.", word=reading.peek(), fix=f"Write {token} het and the traits.")
    reading.place += 1
    for _ in range({"double": 2, "triple": 3}[token]):
        _say_het(reading, ONE)


def _next_trait(reading: _Reading, before: str) -> Word:
    while reading.peek() == SEPARATOR:
        reading.place += 1
    if reading.place >= len(reading.tokens):
        raise NotationError(f"no trait follows {before}.", word=before, fix=f"Write the trait after {before}.")
    found = reading.words.match(reading.tokens, reading.place)
    if found is None:
        raise _unknown(reading)
    word, reading.place = found
    if word.kind == "several":
        raise _several(word)
    if word.kind == "line_bred":
        raise NotationError(
            f"{word.names[0]} is line-bred: there is no {before} of it.", word=word.spelling, fix=f"Leave out {before}."
        )
    return word


def _say_het(reading: _Reading, share: Fraction) -> None:
    word = _next_trait(reading, "het")
    names = word.names
    if word.kind == "combination":
        copies = _combination(reading.catalogue, word)
        if share != 1 or not all(reading.catalogue.allele(name).recessive for name in copies):
            raise NotationError(
                f"het {word.spelling} can be read in several ways.",
                word=word.spelling,
                fix=f"Name {', '.join(copies)}.",
            )
        names = tuple(copies)
    elif word.kind != "allele":
        raise NotationError(
            f"het {word.spelling} can be read in several ways.", word=word.spelling, fix=f"Name {', '.join(names)}."
        )
    reading.said.extend(Statement(name, "one", share) for name in names)


def _say_two(reading: _Reading, token: str) -> None:
    word = _next_trait(reading, token)
    if word.kind != "allele":
        raise NotationError(
            f"{token} {word.spelling} can be read in several ways.", word=word.spelling, fix="Name one trait."
        )
    allele = reading.catalogue.allele(word.names[0])
    if token == "super" and allele.recessive:
        raise NotationError(
            f"{allele.name} is recessive: two copies are written {allele.name}.", word="super", fix="Leave out super."
        )
    reading.said.append(Statement(allele.name, "two"))


def _say_plain(reading: _Reading, word: Word) -> None:
    if word.kind == "several":
        raise _several(word)
    if word.kind == "line_bred":
        reading.line_bred.extend(word.names)
    elif word.kind == "super":
        reading.said.append(Statement(word.names[0], "two"))
    elif word.kind == "combination":
        for name, number in _combination(reading.catalogue, word).items():
            two = number == 2 and not reading.catalogue.allele(name).recessive
            reading.said.append(Statement(name, "two" if two else "plain"))
    else:
        reading.said.extend(Statement(name, "plain") for name in word.names)


def _combination(catalogue: Catalogue, word: Word) -> dict[str, int]:
    return dict(next(item.copies for item in catalogue.combinations if item.name == word.names[0]))


def _at(locus: Locus, item: Statement) -> bool:
    return any(allele.name == item.allele for allele in locus.alleles)


def _seen(catalogue: Catalogue, item: Statement) -> bool:
    return item.copies != "one" or not catalogue.allele(item.allele).recessive


def _locus_belief(locus: Locus, said: list[Statement]) -> LocusBelief | None:
    """What is said of one series, as a distribution. At most two members of a series can be in one animal."""
    if not said:
        return None
    names = [item.allele for item in said]
    if len(set(names)) != len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise NotationError(f"{twice} is named twice.", word=twice, fix=_two_copy_hint(locus, twice))
    if len(said) > 2 or (len(said) == 2 and any(item.copies == "two" for item in said)):
        raise NotationError(
            f"{', '.join(names)} are one series: an animal carries two of them at most.",
            word=names[-1],
            fix="Leave out one.",
        )
    doubtful = [item for item in said if item.share != 1]
    if len(doubtful) > 1:
        raise NotationError(
            f"{' and '.join(names)} are one series, and two doubts about one series have no single meaning.",
            word=names[-1],
            fix="State one of them with a percentage.",
        )
    certain = [item for item in said if item.share == 1]
    if not doubtful:
        genotype = _certain(locus, certain)
        return _viable(locus, {genotype: ONE})
    item = doubtful[0]
    without = _certain(locus, certain) if certain else locus.wild
    other = certain[0].allele if certain else WILD
    return _viable(locus, _mixed({locus.pair(item.allele, other): item.share}, without, ONE - item.share))


def _mixed(shares: dict[Genotype, Fraction], genotype: Genotype, share: Fraction) -> LocusBelief:
    shares[genotype] = shares.get(genotype, Fraction(0)) + share
    return {key: value for key, value in shares.items() if value}


def _certain(locus: Locus, said: list[Statement]) -> Genotype:
    if len(said) == 2:
        return locus.pair(said[0].allele, said[1].allele)
    item = said[0]
    two = item.copies == "two" or (item.copies == "plain" and locus.allele(item.allele).recessive)
    return locus.pair(item.allele, item.allele if two else WILD)


def _viable(locus: Locus, shares: LocusBelief) -> LocusBelief:
    for genotype in shares:
        if lethal(locus, genotype):
            name = genotype[0]
            raise NotationError(
                f"two copies of {name} are not known alive.", word=name, fix=f"Write {name} for one copy."
            )
    return shares


def _two_copy_hint(locus: Locus, name: str) -> str:
    if locus.allele(name).recessive:
        return f"Write {name} for two copies, het {name} for one."
    return f"Write super {name} for two copies, {name} for one."


def _several(word: Word) -> NotationError:
    return NotationError(
        f"{word.spelling} has several lines, which are separate loci.",
        word=word.spelling,
        near=word.names,
        fix="Name the line.",
    )


def _unknown(reading: _Reading) -> NotationError:
    word = reading.peek()
    near = reading.words.near(reading.tokens, reading.place)
    return NotationError(f"{word!r} is not a trait of the {reading.catalogue.common_name}.", word=word, near=near)


def known_spellings(catalogue: Catalogue) -> Iterable[str]:
    """Every spelling that the reader accepts, for help texts."""
    return (word.spelling for word in vocabulary_of(catalogue).words.values())
