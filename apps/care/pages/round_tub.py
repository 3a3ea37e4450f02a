"""One tub of a round: who is in it, what is due there first, the rest folded away, the next tub at the foot."""

from __future__ import annotations

from dataclasses import dataclass, field

from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.choices import DueKind
from apps.care.models import CareRound
from apps.care.pages.quick import Quick, quick_page
from apps.care.pages.rounds import due_lines
from apps.care.selectors.due import due_of
from apps.care.selectors.health import DueDose, treatments_due
from apps.care.selectors.tasks import covered_kinds
from apps.places.models import Tub
from apps.places.selectors import tub_by_label

PARTS = ("checks", "weight", "offer", "shed", "marks", "condition", "note", "photo")
PART_OF = {
    DueKind.DOSE: "doses",
    DueKind.CHECK: "checks",
    DueKind.OFFER: "offer",
    DueKind.WEIGH: "weight",
    DueKind.SHED: "shed",
    DueKind.WATER: "marks",
    DueKind.CLEANED: "marks",
    DueKind.SHAPE: "condition",
}


@dataclass(frozen=True, slots=True)
class TubPage:
    """The page of one tub."""

    round: CareRound
    tub: Tub
    animals: list[Animal]
    animal: Animal | None
    quick: Quick | None
    due: list[tuple[str, str, str]]
    skipped: bool
    next_tub: Tub | None
    next_code: str
    due_after: int
    doses: list[DueDose] = field(default_factory=list)
    first: list[str] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)


def tub_page(care_round: CareRound, tub: Tub, animal_ref: str = "") -> TubPage:
    """Everything of one tub. With several animals in it, ``animal_ref`` chooses; else the first with work."""
    living = Animal.objects.filter(tub__rack=tub.rack, status=Status.HERE)
    inside = list(living.filter(tub=tub).select_related("species", "tub__rack__room").order_by("code_key"))
    found = due_of(living)
    covered = covered_kinds(care_round.room).get(tub.rack_id, frozenset())
    lines = {animal.pk: due_lines(found.get(animal.pk), covered) for animal in inside}
    animal = next((one for one in inside if one.ref == animal_ref), None)
    animal = animal or next((one for one in inside if lines[one.pk]), inside[0] if inside else None)
    due = lines[animal.pk] if animal is not None else []
    quick = quick_page(animal) if animal is not None else None
    first = list(dict.fromkeys(PART_OF[kind] for name, _, _ in due if (kind := DueKind(name)) in PART_OF))
    if quick is not None and quick.open_meals and "checks" not in first:
        first.insert(0, "checks")
    due_refs = {pk for pk, one in found.items() if due_lines(one, covered)}
    following, code = _next(tub, due_refs)
    one = found.get(animal.pk) if animal is not None else None
    return TubPage(
        round=care_round,
        tub=tub,
        animals=inside,
        animal=animal,
        quick=quick,
        due=due,
        skipped=bool(one.skipped) if one is not None else False,
        next_tub=following,
        next_code=code,
        due_after=len(due_refs - {one.pk for one in inside}),
        doses=treatments_due(animals=[animal]) if animal is not None else [],
        first=first,
        rest=[part for part in PARTS if part not in first and part != "checks"],
    )


def _next(tub: Tub, due_ids: set[int]) -> tuple[Tub | None, str]:
    """The next tub of the rack with work, in walking order, from the top again; else the next animal."""
    rows = list(
        Animal.objects.filter(tub__rack=tub.rack, status=Status.HERE)
        .exclude(tub=tub)
        .select_related("tub")
        .order_by("tub__walk_order", "code")
        .only("code", "tub__ref", "tub__label", "tub__walk_order", "tub__rack_id")
    )
    after = [row for row in rows if row.tub is not None and row.tub.walk_order > tub.walk_order]
    before = [row for row in rows if row.tub is not None and row.tub.walk_order < tub.walk_order]
    waiting = [row for row in [*after, *before] if row.pk in due_ids]
    for chosen in waiting or after:
        return chosen.tub, chosen.code
    return None, ""


@dataclass(frozen=True, slots=True)
class Found:
    """What a label read in a round means: a tub to open, or plain words why not."""

    tub: Tub | None = None
    animal_ref: str = ""
    words: str = ""
    link: str = ""
    link_words: str = ""


def label_in_round(care_round: CareRound, text: str) -> Found:
    """A tub's or an animal's label (or code, or the address in its QR code), answered in the flow of the round."""
    word = text.strip().rstrip("/").rsplit("/", 1)[-1]
    if not word:
        return Found(words="Nothing was read. Hold the label to the reader again, or type the tub or the code.")
    tub = tub_by_label(text)
    if tub is not None:
        return _tub_found(care_round, tub, "")
    animals = Animal.objects.select_related("tub__rack__room__site")
    animal = animals.filter(ref=word).first() or animals.filter(code_key=" ".join(text.split()).casefold()).first()
    if animal is None:
        return Found(
            words=f"“{text.strip()[:40]}” is no tub and no animal of this facility. It may be another site's label: "
            "look at the card again, or type the code."
        )
    if animal.status != Status.HERE:
        since = f" since {animal.status_since.isoformat()}" if animal.status_since else ""
        return Found(
            words=f"{animal.code} is {animal.status}{since}, so nothing is due for it. If it is in front of you, its "
            "page has the act that puts it back.",
            link=animal.get_absolute_url(),
            link_words=f"Page of {animal.code}",
        )
    if animal.tub is None:
        return Found(
            words=f"{animal.code} is here but in no tub. Move it to where it sits.",
            link=animal.get_absolute_url(),
            link_words=f"Page of {animal.code}",
        )
    return _tub_found(care_round, animal.tub, animal.ref)


def _tub_found(care_round: CareRound, tub: Tub, animal_ref: str) -> Found:
    room = tub.rack.room
    if room.pk == care_round.room_id:
        return Found(tub=tub, animal_ref=animal_ref)
    where = f"{room.name} of {room.site.name}" if room.site_id != care_round.room.site_id else room.name
    return Found(
        words=f"{tub.label} is in {where}, not in {care_round.room.name}. Its work stands in that room's round.",
        link="/rounds/",
        link_words="All rounds",
    )
