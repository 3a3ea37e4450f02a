"""What one season's young of a pair are worth to this facility: the lead's trait values, else every young counts 1."""

from __future__ import annotations

import time
from collections.abc import Iterable
from fractions import Fraction

from apps.animals.models import Animal, Species, TraitValue
from apps.animals.selectors import catalogue_of
from apps.breeding.selectors.profiles import SpeciesProfile
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.cross import Parent, cross
from apps.engines.genetics.errors import CrossError, DeadlinePassed, NotationError
from apps.engines.genetics.notation import parse_notation

YOUNG = "young"
PLAIN = "normal"
ROWS = 200


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
    """Worth of one young by the trait words of dam and sire, and the unit: ``young`` or a currency.

    A look without a value of its own counts as the dearest value whose words are all in it, else as ``normal``, else
    nothing. Pairs that cannot be read or for which there is no time count as ``normal``.
    """
    rows = list(TraitValue.objects.filter(species=species).order_by("currency", "notation"))
    catalogue = catalogue_of(species)
    kinds = sorted({(dam.traits, sire.traits) for dam, sire in pairs})
    if not rows or catalogue is None:
        return dict.fromkeys(kinds, 1.0), YOUNG
    currency = rows[0].currency
    amounts = {
        frozenset(row.notation.casefold().split()): row.amount_minor / 100 for row in rows if row.currency == currency
    }
    plain = amounts.get(frozenset({PLAIN}), 0.0)
    deadline = time.monotonic() + seconds
    return {kind: _worth(catalogue, kind, amounts, plain, deadline) for kind in kinds}, currency


def _worth(
    catalogue: Catalogue,
    kind: tuple[str, str],
    amounts: dict[frozenset[str], float],
    plain: float,
    deadline: float,
) -> float:
    try:
        dam, sire = (Parent(parse_notation(words.strip() or PLAIN, catalogue)) for words in kind)
        found = cross(catalogue, dam, sire, clutch={1: Fraction(1)}, row_limit=ROWS, deadline=deadline)
    except (NotationError, CrossError, DeadlinePassed):
        return plain
    total = float(found.looks_remaining) * plain
    for row in found.looks:
        words = set(row.look.casefold().split())
        fitting = [amount for named, amount in amounts.items() if named <= words]
        total += float(row.probability) * max(fitting, default=plain)
    return total * float(1 - found.non_viable_share)
