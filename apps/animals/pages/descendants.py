"""The young of one animal, brood by brood, and of those that bred their own: folded so that thousands do not choke."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Q

from apps.animals.choices import Status
from apps.animals.models import Animal

BROODS_SHOWN = 24
YOUNG_SHOWN = 40
BREEDERS_FOLLOWED = 60
COLUMNS = ("ref", "code", "sex", "traits", "status", "hatched_on", "dam_id", "sire_id", "brood_id")


@dataclass(slots=True)
class Descendant:
    """One young; `broods` are its own, when it bred."""

    ref: str
    code: str
    sex: str
    look: str
    status: str
    broods: list[DescendantBrood] = field(default_factory=list)


@dataclass(slots=True)
class DescendantBrood:
    """Young of one brood, or of one mate in one year where no brood is on record; `folded` ones are only counted."""

    name: str
    year: int | None
    mate: str
    looks: str
    count: int
    here: int
    young: list[Descendant] = field(default_factory=list)
    folded: int = 0


@dataclass(slots=True)
class Descendants:
    """What the tree shows; `earlier` broods and their young are counted only."""

    broods: list[DescendantBrood]
    count: int
    earlier: int
    earlier_young: int


def descendants_of(animal: Animal) -> Descendants:
    """Two generations down in five queries, however many there are; the newest broods first."""
    young = _young([animal.pk])
    broods = _grouped(young, animal.pk)
    shown, rest = broods[:BROODS_SHOWN], broods[BROODS_SHOWN:]
    listed = [one for rows in shown for one in _listed(rows)]
    bred = _bred(listed)
    below: dict[int, list[Animal]] = defaultdict(list)
    for one in _young(bred):
        for parent in (one.dam_id, one.sire_id):
            if parent in bred:
                below[parent].append(one)
    mates = _codes(
        {pk for one in [*young, *(one for rows in below.values() for one in rows)] for pk in (one.dam_id, one.sire_id)}
    )
    return Descendants(
        broods=[_brood(rows, animal.pk, mates, below) for rows in shown],
        count=len(young),
        earlier=len(rest),
        earlier_young=sum(len(rows) for rows in rest),
    )


def _young(parents: Iterable[int]) -> list[Animal]:
    wanted = list(parents)
    if not wanted:
        return []
    rows = Animal.objects.filter(Q(dam__in=wanted) | Q(sire__in=wanted)).exclude(status=Status.MERGED)
    return list(rows.select_related("brood").only(*COLUMNS, "brood__code", "brood__on").order_by("-hatched_on", "pk"))


def _grouped(rows: Sequence[Animal], parent: int) -> list[list[Animal]]:
    found: dict[tuple[object, ...], list[Animal]] = defaultdict(list)
    for one in rows:
        key = (one.brood_id,) if one.brood_id else (_mate(one, parent), one.hatched_on and one.hatched_on.year)
        found[key].append(one)
    return list(found.values())


def _mate(one: Animal, parent: int) -> int | None:
    return one.sire_id if one.dam_id == parent else one.dam_id


def _listed(rows: Sequence[Animal]) -> list[Animal]:
    """Those still here first: they are whom somebody looks for."""
    return sorted(rows, key=lambda one: one.status != Status.HERE)[:YOUNG_SHOWN]


def _bred(rows: Sequence[Animal]) -> set[int]:
    """Which of these have young of their own, the first of them followed further."""
    pks = [one.pk for one in rows]
    pairs = Animal.objects.filter(Q(dam__in=pks) | Q(sire__in=pks)).values_list("dam_id", "sire_id").distinct()
    parents = {pk for pair in pairs for pk in pair}
    return set([pk for pk in pks if pk in parents][:BREEDERS_FOLLOWED])


def _codes(pks: set[int | None]) -> dict[int, str]:
    return dict(Animal.objects.filter(pk__in=[pk for pk in pks if pk is not None]).values_list("pk", "code"))


def _brood(
    rows: Sequence[Animal], parent: int, codes: dict[int, str], below: dict[int, list[Animal]]
) -> DescendantBrood:
    first = rows[0]
    mate = _mate(first, parent)
    brood = first.brood
    year = brood.on.year if brood else first.hatched_on.year if first.hatched_on else None
    looks = Counter(look_of(one.traits) for one in rows)
    young = [
        Descendant(
            ref=one.ref,
            code=one.code,
            sex=one.sex,
            look=look_of(one.traits),
            status=one.status,
            broods=[_brood(group, one.pk, codes, {}) for group in _grouped(below.get(one.pk, []), one.pk)][
                :BROODS_SHOWN
            ],
        )
        for one in _listed(rows)
    ]
    return DescendantBrood(
        name=brood.code if brood else "",
        year=year,
        mate="" if mate is None else codes.get(mate, ""),
        looks=", ".join(f"{number} {look}" for look, number in looks.most_common(4))
        + (f" and {len(looks) - 4} more looks" if len(looks) > 4 else ""),
        count=len(rows),
        here=sum(one.status == Status.HERE for one in rows),
        young=young,
        folded=len(rows) - len(young),
    )


def look_of(traits: str) -> str:
    """What is seen of a statement: hets left away."""
    words = traits.split(" het ")[0] if not traits.startswith("het ") else "normal"
    return words.rstrip("0123456789%.").strip() or "normal"
