"""The words of one catalogue, ready for reading: every spelling of every trait, longest first, and near matches."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from apps.engines.genetics.catalogue import Catalogue

Kind = Literal["allele", "line_bred", "super", "compound", "combination", "several"]
SEPARATOR = ","
KEYWORDS = ("het", "super", "homozygous", "double", "triple", "normal", "possible")


@dataclass(frozen=True, slots=True)
class Word:
    """What a spelling means. `names` are catalogue names: one allele, a compound's pair, a combination's parts."""

    kind: Kind
    spelling: str
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Vocabulary:
    words: Mapping[tuple[str, ...], Word]
    longest: int

    def match(self, tokens: Sequence[str], start: int) -> tuple[Word, int] | None:
        """The longest trait spelled at `start`, with the place after it."""
        for length in range(min(self.longest, len(tokens) - start), 0, -1):
            word = self.words.get(tuple(tokens[start : start + length]))
            if word is not None:
                return word, start + length
        return None

    def near(self, tokens: Sequence[str], start: int) -> tuple[str, ...]:
        """Up to three spellings closest to the unknown word at `start`, looking at one, two or three tokens."""
        spelled = {" ".join(key): word.spelling for key, word in self.words.items()}
        spelled.update({keyword: keyword for keyword in KEYWORDS})
        scored: dict[str, float] = {}
        for length in (1, 2, 3):
            piece = " ".join(tokens[start : start + length])
            for match in difflib.get_close_matches(piece, spelled, n=4, cutoff=0.6):
                score = difflib.SequenceMatcher(None, piece, match).ratio()
                scored[spelled[match]] = max(score, scored.get(spelled[match], 0.0))
        first = tokens[start]
        for key, word in self.words.items():  # a bare word that several longer names contain
            if first in key and len(key) > 1:
                scored.setdefault(word.spelling, 0.5)
        return tuple(sorted(scored, key=lambda name: (-scored[name], name))[:3])


def tokens_of(text: str) -> list[str]:
    """Lower-case words of a notation. A hyphen is a space; commas, slashes and semicolons become SEPARATOR, which no
    trait name runs across ("Lavender, Albino" is two traits)."""
    return re.sub(r"[,;/]", f" {SEPARATOR} ", text.casefold().replace("-", " ")).split()


def vocabulary_of(catalogue: Catalogue) -> Vocabulary:
    """Cached by version: a catalogue holds mappings and cannot be hashed itself."""
    cached = _CACHE.get(id(catalogue))
    if cached is None or cached[0] is not catalogue:
        cached = (catalogue, _build(catalogue))
        if len(_CACHE) > 32:
            _CACHE.clear()
        _CACHE[id(catalogue)] = cached
    return cached[1]


_CACHE: dict[int, tuple[Catalogue, Vocabulary]] = {}


def _build(catalogue: Catalogue) -> Vocabulary:
    words: dict[tuple[str, ...], Word] = {}

    def add(spelling: str, kind: Kind, names: tuple[str, ...]) -> None:
        words.setdefault(tuple(tokens_of(spelling)), Word(kind, spelling, names))

    for allele in catalogue.alleles():
        for spelling in (allele.name, allele.label, *allele.aliases):
            add(spelling, "allele", (allele.name,))
        for spelling in allele.super_names:
            add(spelling, "super", (allele.name,))
    for trait in catalogue.line_bred:
        for spelling in (trait.name, trait.label, *trait.aliases):
            add(spelling, "line_bred", (trait.name,))
    for locus in catalogue.loci:
        for compound in locus.compounds.values():
            for spelling in compound.called:
                add(spelling, "compound", tuple(sorted(compound.pair)))
    for combination in catalogue.combinations:
        add(combination.name, "combination", (combination.name,))
    for spelling, names in catalogue.several_lines.items():
        add(spelling, "several", names)
    return Vocabulary(words, max((len(key) for key in words), default=0))


@lru_cache(maxsize=64)
def trade_percent(digits: str) -> tuple[int, int]:
    """A written percentage as numerator and denominator: 66 means 2/3 and 33 means 1/3, others are exact."""
    if digits == "66":
        return 2, 3
    if digits == "33":
        return 1, 3
    whole, _, decimals = digits.partition(".")
    return int(whole + decimals), 100 * 10 ** len(decimals)
