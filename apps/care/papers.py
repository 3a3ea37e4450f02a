"""Papers of daily care: tonight's thaw list for the freezer door, and a room's sheet to write on by hand."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.care.models import CareRound
from apps.care.pages.feeding_plan import thaw_page
from apps.care.pages.rounds import TUB_WORDS, late_words, round_page
from apps.care.selectors.due import due_of
from apps.care.selectors.tasks import covered_kinds
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.formats import day_text
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg

QR_MM = 22


def thaw_list_make(*, by: Person, request_key: str | None = None) -> Document:
    """Render today's thaw list as it stands and keep it; the same content gives the paper that is there."""
    page = thaw_page()
    return paper_make(
        by=by,
        kind="thaw list",
        subject_kind="day",
        subject_ref=page.on.isoformat(),
        label=f"Thaw list of {day_text(page.on, year=True)}",
        template="care/papers/thaw_list.html",
        context={
            "page": page,
            "day": day_text(page.on, year=True),
            "qr": qr_svg(f"{settings.SITE_URL.rstrip('/')}/care/thaw/", size_mm=QR_MM),
        },
        filename=f"thaw-list-{page.on.isoformat()}.pdf",
        request_key=request_key,
    )


@dataclass(slots=True)
class SheetRack:
    """One rack of the sheet."""

    name: str
    rows: list[dict[str, str]]


def round_sheet_make(*, by: Person, care_round: CareRound) -> Document:
    """Render the sheet as the room stands and keep it. Raises Invalid for a room where nobody lives."""
    racks = _racks(care_round)
    if not racks:
        raise Invalid(f"Nobody lives in {care_round.room.name}, so there is nothing to write on.", field="room")
    page = round_page(care_round)
    context = {
        "round": care_round,
        "qr": qr_svg(f"{settings.SITE_URL.rstrip('/')}{care_round.get_absolute_url()}", size_mm=QR_MM),
        "day": day_text(clock.today(), year=True),
        "words": page.words,
        "tasks": [{"words": time.task.words, "late": late_words(time)} for time, _ in page.tasks],
        "racks": racks,
    }
    return paper_make(
        by=by,
        kind="round sheet",
        subject_kind="careround",
        subject_ref=care_round.ref,
        label=f"Round sheet of {care_round.room.name}, {day_text(clock.today())}",
        template="care/papers/round_sheet.html",
        context=context,
        filename=f"round-{care_round.number}.pdf",
    )


def _racks(care_round: CareRound) -> list[SheetRack]:
    living = Animal.objects.filter(tub__rack__room=care_round.room, status=Status.HERE)
    found, covered, today = due_of(living), covered_kinds(care_round.room), clock.today()
    racks: dict[int, SheetRack] = {}
    rows = living.select_related("tub__rack").order_by(
        "tub__rack__walk_order", "tub__rack__name", "tub__walk_order", "code"
    )
    for animal in rows:
        if animal.tub is None:
            continue
        one = found.get(animal.pk)
        kinds = one.due(today, without=covered.get(animal.tub.rack_id, frozenset())) if one is not None else []
        rack = racks.setdefault(animal.tub.rack_id, SheetRack(animal.tub.rack.name, []))
        due = ", ".join(TUB_WORDS[kind] for kind in kinds)
        rack.rows.append({"tub": animal.tub.label, "code": animal.code, "due": due})
    return list(racks.values())
