"""What one season's young of a pair are worth to this facility: the lead's trait values, else every young counts 1."""

from __future__ import annotations

from collections.abc import Iterable

from apps.animals.models import Animal, Species
from apps.animals.selectors import PairWorths
from apps.breeding.selectors.profiles import SpeciesProfile

YOUNG = "young"


def young_expected(profile: SpeciesProfile) -> float:
    """Young of one brood by the species' numbers; 1 where they say nothing."""
    size = profile.number("brood.size_mean")
    if size is None:
        return 1.0
    fertile, hatch = profile.number("brood.fertile_share"), profile.number("brood.hatch_share")
    return size * (1.0 if fertile is None else fertile) * (1.0 if hatch is None else hatch)


def pair_values(
    species: Species, pairs: Iterable[tuple[Animal, Animal]], seconds: float
) -> tuple[dict[tuple[str, str], float], str]:
    """Worth of one egg's young by the trait words of dam and sire, and the unit: ``young`` or a currency.

    The rule is that of the list of mates. Pairs that cannot be read or for which there is no time count as ``normal``.
    """
    kinds = sorted({(dam.traits, sire.traits) for dam, sire in pairs})
    worths = PairWorths(species, seconds)
    if not worths.prices:
        return dict.fromkeys(kinds, 1.0), YOUNG
    found = {}
    for kind in kinds:
        worth = worths.of(*kind)
        amount = worths.plain if worth is None else worth.per_young * worth.viable_share
        found[kind] = float(amount) / 100
    return found, worths.currency
