"""What a brood's parents can give, and how likely a look that was seen is."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from apps.animals.choices import SireHypothesis
from apps.animals.models import Animal, Brood
from apps.animals.selectors import catalogue_of
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.errors import CrossError, DeadlinePassed, GeneticsError
from apps.engines.genetics.gametes import Phase, one_copy_needs_phase
from apps.engines.genetics.notation import parse_notation
from apps.engines.genetics.wording import percent_words, write_notation
from apps.incubation.selectors.eggs import short_look

SECONDS = 2.0
LEAST_SHOWN = Fraction(1, 100)


@dataclass(frozen=True)
class Look:
    """One look that can hatch, with its chance and the notation its record would get."""

    look: str
    notation: str
    probability: float
    share_of_sires: float


@dataclass(frozen=True)
class SireLooks:
    """What one candidate male can give with the dam: chance by look, and the chance of looks too rare to list."""

    male: Animal
    prior: float
    chances: Mapping[str, float]
    left: float
    looks: tuple[Look, ...] = ()

    def chance(self, seen: str) -> float | None:
        """Of this look; None when it may be among those not listed."""
        wanted = look_key(seen)
        found = next((chance for look, chance in self.chances.items() if look_key(look) == wanted), None)
        return found if found is not None else (None if self.left else 0.0)


@dataclass(frozen=True)
class PossibleYoung:
    """All looks, most probable first, over the candidate sires; ``why_not`` says why there are no odds."""

    looks: tuple[Look, ...] = ()
    sires: tuple[str, ...] = ()
    welfare: tuple[str, ...] = ()
    why_not: str = ""
    unexplained: float = 0.0
    by_sire: tuple[SireLooks, ...] = ()

    @property
    def left(self) -> float:
        """The chance of looks too rare to list, at most over the sires."""
        return max((row.left for row in self.by_sire), default=0.0)

    def find(self, seen: str, sire: Animal | None = None) -> Look | None:
        """The look of this name, in any order of its words, whatever it carries; from one sire once he is settled."""
        settled = next((row.looks for row in self.by_sire if sire is not None and row.male.pk == sire.pk), None)
        wanted = look_key(seen)
        return next((row for row in settled or self.looks if look_key(row.look) == wanted), None)

    def givers(self, seen: str) -> list[Animal]:
        """The named males that can give this look. How likely each is the sire is a belief, kept with the young."""
        return [row.male for row in self.by_sire if row.chance(seen)]


def look_key(words: str) -> tuple[str, ...]:
    """What makes two spellings of a look the same: its words in any order, without what is only carried."""
    return tuple(sorted(short_look(words, carrier="normal").casefold().split()))


def possible_young(brood: Brood) -> PossibleYoung:
    """What can hatch from a brood, each candidate sire weighed by its share.

    Stored sperm and other hypotheses have no genotype: their share is kept as ``unexplained``, never as zero.
    """
    catalogue = catalogue_of(brood.species)
    if catalogue is None:
        return PossibleYoung(why_not=f"{brood.species} has no trait catalogue: no odds.")
    candidates = list(brood.sire_candidates.select_related("male").order_by("-prior"))
    named = [(row.male, row.prior) for row in candidates if row.male is not None]
    if not named:
        return PossibleYoung(why_not="No sire is recorded: no odds.")
    unexplained = sum(row.prior for row in candidates if row.hypothesis != SireHypothesis.MALE)
    results: list[tuple[float, CrossResult]] = []
    for male, prior in named:
        try:
            results.append((prior, _crossed(catalogue, brood.dam, male)))
        except (GeneticsError, DeadlinePassed) as error:
            return PossibleYoung(why_not=f"No odds for {brood.dam.code} x {male.code}: {error}")
    welfare = dict.fromkeys(f"{line.who}: {line.fact}" for _, result in results for line in result.welfare)
    return PossibleYoung(
        looks=_together(catalogue, results),
        sires=tuple(male.code for male, _ in named),
        welfare=tuple(welfare),
        unexplained=unexplained,
        by_sire=tuple(
            SireLooks(
                male=male,
                prior=prior,
                chances={row.look: float(row.probability) for row in result.looks},
                left=float(result.looks_remaining),
                looks=_together(catalogue, [(1.0, result)]),
            )
            for (male, prior), (_, result) in zip(named, results, strict=True)
        ),
    )


def _crossed(catalogue: Catalogue, dam: Animal, sire: Animal) -> CrossResult:
    dam_belief = parse_notation(dam.traits or "normal", catalogue)
    sire_belief = parse_notation(sire.traits or "normal", catalogue)
    phase = Phase.UNKNOWN if one_copy_needs_phase(catalogue, sire_belief) else None
    deadline = time.monotonic() + SECONDS
    try:
        return cross(
            catalogue,
            Parent(dam_belief),
            Parent(sire_belief, phase),
            clutch={1: Fraction(1)},
            row_limit=200,
            deadline=deadline,
        )
    except CrossError:
        raise
    except ValueError as error:
        raise GeneticsError(str(error)) from error


def _together(catalogue: Catalogue, results: list[tuple[float, CrossResult]]) -> tuple[Look, ...]:
    """Mix the looks of several sires; hets are weighed by how likely each sire is to have given this look."""
    whole = sum(prior for prior, _ in results)
    mixed: dict[str, float] = {}
    hets: dict[str, dict[str, float]] = {}
    for prior, result in results:
        weight = prior / whole
        for row in result.looks:
            chance = weight * float(row.probability)
            mixed[row.look] = mixed.get(row.look, 0.0) + chance
            for name, share in row.hets:
                here = hets.setdefault(row.look, {})
                here[name] = here.get(name, 0.0) + chance * float(share)
    found = []
    for look, chance in sorted(mixed.items(), key=lambda item: (-item[1], item[0])):
        shares = {name: carried / chance for name, carried in hets.get(look, {}).items()}
        found.append(Look(look, look_notation(catalogue, look, shares), chance, whole))
    return tuple(found)


def look_notation(catalogue: Catalogue, look: str, shares: dict[str, float]) -> str:
    """The look with what it carries: certain hets plain, possible ones with their percentage."""
    words = [look]
    for name, share in shares.items():
        exact = Fraction(share).limit_denominator(1000)
        if exact >= 1:
            words.append(f"het {name}")
        elif exact >= LEAST_SHOWN:
            words.append(f"{percent_words(exact, rounded=True)} het {name}")
    text = " ".join(words)
    try:
        return write_notation(parse_notation(text, catalogue), catalogue)
    except GeneticsError:
        return text
