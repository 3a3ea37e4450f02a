"""Which crosses are kept out of suggestions and value, and which of those the owner has lifted by name."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import QuerySet

from apps.animals.models import Animal, Species, WelfareLift
from apps.animals.selectors.catalogues import catalogue_of
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import Catalogue, WelfareFact
from apps.engines.genetics.errors import NotationError
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.welfare import Touch, blocking_loci, touched

UNREADABLE = "traits that cannot be read"


@dataclass(frozen=True, slots=True)
class WelfareBlock:
    """Why a cross is out of suggestions and value. `share` is of its eggs (or how likely she is such a dam)."""

    name: str
    fact: str
    evidence: str
    share: Fraction

    @property
    def words(self) -> str:
        """One sentence for a list of reasons."""
        return f"{self.name}: {self.fact}"


@dataclass(frozen=True, slots=True)
class WelfareState:
    """One fact of the catalogue with the lift in force, if any."""

    fact: WelfareFact
    lift: WelfareLift | None


def welfare_lifts(species: Species) -> QuerySet[WelfareLift]:
    """Every lift ever given, newest first."""
    return (
        WelfareLift.objects.filter(species=species).select_related("lifted_by", "withdrawn_by").order_by("-lifted_at")
    )


def welfare_lifted(species: Species) -> frozenset[str]:
    """Names of the blocking facts that the owner has lifted and not withdrawn. One query."""
    return frozenset(
        WelfareLift.objects.filter(species=species, withdrawn_at__isnull=True).values_list("pattern", flat=True)
    )


def welfare_states(species: Species) -> list[WelfareState]:
    """Every welfare fact of the species, those that block first, each with the lift in force."""
    catalogue = catalogue_of(species)
    if catalogue is None:
        return []
    standing = {lift.pattern: lift for lift in welfare_lifts(species).filter(withdrawn_at__isnull=True)}
    facts = sorted(catalogue.welfare, key=lambda fact: not fact.blocks)
    return [WelfareState(fact, standing.get(fact.name) if fact.blocks else None) for fact in facts]


def welfare_blocks(
    species: Species, pairs: Iterable[tuple[Animal, Animal | None]]
) -> dict[tuple[int, int | None], tuple[WelfareBlock, ...]]:
    """What keeps each (dam, sire) pair out, by their pks; pairs that nothing blocks are absent.

    Judged on the recorded trait statements. One query however many pairs (the lifts); pairs alike at the loci that
    any blocking fact speaks of are judged once, so 60 males x 600 females cost about what their kinds do. An animal
    whose statement cannot be read blocks: it could carry anything. A species without a catalogue blocks nothing.
    """
    catalogue = catalogue_of(species)
    if catalogue is None:
        return {}
    lifted = welfare_lifted(species)
    reader = _Reader(catalogue)
    found: dict[tuple[int, int | None], tuple[WelfareBlock, ...]] = {}
    judged: dict[tuple[str, str | None], tuple[WelfareBlock, ...]] = {}
    for dam, sire in pairs:
        key = (reader.kind(dam.traits), None if sire is None else reader.kind(sire.traits))
        if key not in judged:
            judged[key] = reader.blocks(dam.traits, None if sire is None else sire.traits, lifted)
        if judged[key]:
            found[dam.pk, None if sire is None else sire.pk] = judged[key]
    return found


def blocks_of_beliefs(
    catalogue: Catalogue, dam: Belief, sire: Belief | None, lifted: Iterable[str]
) -> tuple[WelfareBlock, ...]:
    """What keeps a pair of beliefs out, less what is lifted."""
    allowed = set(lifted)
    return tuple(block_of(touch) for touch in touched(catalogue, dam, sire) if touch.fact.name not in allowed)


def block_of(touch: Touch) -> WelfareBlock:
    """A touched fact as what is shown."""
    return WelfareBlock(touch.fact.name, touch.fact.fact, touch.fact.evidence, touch.share)


class _Reader:
    """Reads each distinct statement once and knows which are alike where it matters."""

    def __init__(self, catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self._codes = blocking_loci(catalogue)
        self._read: dict[str, tuple[str, Belief | None]] = {}

    def kind(self, words: str) -> str:
        """Equal for statements that say the same at every locus of a blocking fact."""
        return self._of(words)[0]

    def blocks(self, dam: str, sire: str | None, lifted: frozenset[str]) -> tuple[WelfareBlock, ...]:
        mother = self._of(dam)[1]
        father = None if sire is None else self._of(sire)[1]
        if mother is None or (sire is not None and father is None):
            why = "The statement of one of them has words that the catalogue does not know."
            return (WelfareBlock(UNREADABLE, why, "nothing can be judged", Fraction(1)),)
        return blocks_of_beliefs(self.catalogue, mother, father, lifted)

    def _of(self, words: str) -> tuple[str, Belief | None]:
        if words not in self._read:
            try:
                belief = parse_notation(words.strip() or "normal", self.catalogue)
            except NotationError:
                self._read[words] = (UNREADABLE, None)
            else:
                told: Mapping[str, object] = {
                    code: sorted(belief.loci[code].items()) for code in self._codes if code in belief.loci
                }
                self._read[words] = (repr(told), Belief({code: belief.loci[code] for code in told}))
        return self._read[words]
