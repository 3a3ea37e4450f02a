"""What an order of labels is for: the tubs, or the animals, of a site, a room, a rack, or of a list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from django.db.models import F, QuerySet

from apps.animals.models import Animal
from apps.animals.selectors.lineage import animals
from apps.core.errors import Invalid, Missing
from apps.core.formats import count_text
from apps.places.models import Rack, Room, Site, Tub

PLACES: dict[str, tuple[type[Site] | type[Room] | type[Rack] | type[Tub], str]] = {
    "tub": (Tub, "tub"),
    "rack": (Rack, "tub__rack"),
    "room": (Room, "tub__rack__room"),
    "site": (Site, "tub__rack__room__site"),
}
# One more than can be printed: enough to say that it is too many without reading a whole house.
MOST_READ = 5000
_WALK = ("rack__room__site__walk_order", "rack__room__walk_order", "rack__walk_order", "rack__name", "level", "column")


class LabelKind(StrEnum):
    """The tub's label stays on the rack; the drawer card travels with the animal."""

    TUBS = "tubs"
    ANIMALS = "animals"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What will be labelled. ``subject``: kind and ref the paper is kept under; the ref is empty for a list."""

    kind: LabelKind
    of: str
    subject: tuple[str, str]
    tubs: Sequence[Tub] = ()
    animals: Sequence[Animal] = ()
    asked: dict[str, list[str]] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """How many labels."""
        return len(self.tubs) + len(self.animals)

    @property
    def words(self) -> str:
        """``9 tub labels of Rack B in Room 3``; ``Drawer card of PR-0412``"""
        if self.count == 1:
            one = "Label" if self.kind == LabelKind.TUBS else "Drawer card"
            return f"{one} of {self.of}"
        one = "tub label" if self.kind == LabelKind.TUBS else "drawer card"
        return f"{count_text(self.count, one)} of {self.of}"

    @property
    def nothing(self) -> str:
        """Why there is none."""
        if self.kind == LabelKind.TUBS:
            return f"There is no tub to label in {self.of}. Set its rack up first."
        if not self.asked.get("animals") and self.subject[0] != "animals":
            return f"Nobody lives in {self.of}, so there is no drawer card to print."
        return "Tick the animals first: none was chosen."


def labels_wanted(*, kind: str, place: str = "", ref: str = "", refs: Sequence[str] = ()) -> Wanted:
    """The tubs or animals of a place (``place``: tub, rack, room, site) or of ``refs``.

    Raises Invalid naming ``what`` for an unknown kind, Missing naming the place, Invalid naming ``animals`` for a ref
    that is no animal's.
    """
    if kind not in list(LabelKind):
        raise Invalid(f"Labels are of {' or '.join(LabelKind)}, not “{kind[:20]}”.", field="what")
    what = LabelKind(kind)
    if not place:
        if what == LabelKind.TUBS:
            raise Invalid("Say which site, room, rack or tub to label.", field="rack")
        return _of_list(refs)
    model, path = PLACES[place]
    found = model._default_manager.filter(ref=ref.replace("\x00", "")).first()
    if found is None:
        raise Missing(f"There is no {place} with the ref “{ref[:20]}”.", field=place)
    of, subject, asked = _name(found), (place, found.ref), {"what": [kind], place: [found.ref]}
    if what == LabelKind.TUBS:
        return Wanted(what, of, subject, tubs=list(_tubs(path, found)[:MOST_READ]), asked=asked)
    rows = _by_walk(animals().filter(**{path: found}))
    return Wanted(what, of, subject, animals=list(rows[:MOST_READ]), asked=asked)


def _of_list(refs: Sequence[str]) -> Wanted:
    unique = list(dict.fromkeys(ref.replace("\x00", "")[:10] for ref in refs))
    rows = list(_by_walk(animals().filter(ref__in=unique[:MOST_READ])))
    unknown = set(unique) - {row.ref for row in rows}
    if unknown:
        raise Invalid(f"There is no animal with the ref “{min(unknown)}”.", field="animals")
    of = rows[0].code if len(rows) == 1 else "the chosen animals"
    asked = {"what": [str(LabelKind.ANIMALS)], "animals": [row.ref for row in rows]}
    return Wanted(LabelKind.ANIMALS, of, ("animals", ""), animals=rows, asked=asked)


def _tubs(path: str, place: Site | Room | Rack | Tub) -> QuerySet[Tub]:
    rows = Tub.objects.select_related("rack__room__site").order_by(*_WALK)
    return rows.filter(pk=place.pk) if isinstance(place, Tub) else rows.filter(**{path.removeprefix("tub__"): place})


def _by_walk(rows: QuerySet[Animal]) -> QuerySet[Animal]:
    """In walking order, so that the cards come out as they are put on; animals without a tub last, by code."""
    # databases differ in where nothing is sorted
    return rows.order_by(*(F(f"tub__{name}").asc(nulls_last=True) for name in _WALK), "code_key")


def _name(place: Site | Room | Rack | Tub) -> str:
    if isinstance(place, Rack):
        return f"{place.name} in {place.room.name}"
    return f"tub {place.label}" if isinstance(place, Tub) else place.name
