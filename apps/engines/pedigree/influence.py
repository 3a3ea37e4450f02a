"""Which observations a belief rests on: each is left out in turn, and what it moved is the difference."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from apps.engines.pedigree.elimination import Table
from apps.engines.pedigree.families import Families, part_of
from apps.engines.pedigree.inference import Choice, Locus, Member, infer

NEAREST = 120


@dataclass(frozen=True, slots=True)
class Influence:
    """One animal's record (what was seen or stated of it): the belief `without` it, None when without it nothing can
    be said."""

    place: int
    without: float | None


@dataclass(frozen=True, slots=True)
class Rests:
    """A belief from the nearest relatives alone, and each of their records left out, the most moving first.
    `relatives` is how many animals were looked at."""

    belief: float | None
    influences: tuple[Influence, ...]
    relatives: int


def rests_on(
    members: Sequence[Member],
    choices: Sequence[Choice],
    loci: Sequence[Locus],
    place: int,
    locus: int,
    value: Callable[[Table], float],
    *,
    deadline: float | None = None,
) -> Rests:
    """Leave out each record among the nearest relatives of an animal and see what its belief at one locus would be.

    Only that locus is asked unless an open sire among them makes the others speak of it too. Time is one inference of
    the relatives per record. Raises DeadlinePassed.
    """
    near = Families(members, choices).around([place], NEAREST)
    few, open_sires, at = part_of(members, choices, near)
    used = [locus] if not open_sires else list(range(len(loci)))
    index = used.index(locus)

    def asked(left_out: int | None) -> float | None:
        parts = [_without(loci[one], at, few, left_out) for one in used]
        table = infer(few, open_sires, parts, deadline=deadline).table(index, at[place])
        return None if table is None else value(table)

    whole = asked(None)
    told = [one for one in near if any(one in loci[u].evidence or one in loci[u].priors for u in used)]
    found = [Influence(one, asked(one)) for one in told]
    found.sort(key=lambda item: -abs((item.without or 0.0) - (whole or 0.0)))
    return Rests(whole, tuple(found), len(near))


def _without(locus: Locus, at: dict[int, int], members: Sequence[Member], left_out: int | None) -> Locus:
    kept = {place: index for place, index in at.items() if place != left_out}
    return replace(
        locus,
        priors={kept[p]: t for p, t in locus.priors.items() if p in kept and members[kept[p]].founder},
        evidence={kept[p]: t for p, t in locus.evidence.items() if p in kept},
    )
