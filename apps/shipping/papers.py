"""Papers of a parcel: packing slip, outside marking, care sheets. Each page names its parcel, animals and cautions."""

from __future__ import annotations

from typing import Any

from django.conf import settings

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.care.choices import ShedStage
from apps.care.models import Shed
from apps.care.selectors.meals import last_meals_at
from apps.care.selectors.weights import latest_weights
from apps.core import clock
from apps.core.errors import Missing, WrongState
from apps.core.units import c_to_f
from apps.documents.models import Document
from apps.documents.selectors import documents_of
from apps.documents.services import document_void, paper_make, qr_svg
from apps.shipping.choices import ParcelState
from apps.shipping.models import Parcel
from apps.shipping.pages.course import course_of
from apps.shipping.pages.parcel_trace_svg import parcel_trace_svg
from apps.shipping.selectors.care_sheets import care_sheet
from apps.shipping.selectors.knowledge import shipped_packing
from apps.shipping.selectors.parcels import contents, window_on

PRINTABLE = frozenset({ParcelState.BOOKED, ParcelState.RELEASED, ParcelState.PACKED, ParcelState.HANDED})
SLIP, MARKING, CARE = "packing slip", "outside marking", "care sheet"


def papers_make(*, by: Person, parcel: Parcel) -> list[Document]:
    """Every paper of a booked parcel; what is printed already and still true is not printed again."""
    made = [packing_slip_make(by=by, parcel=parcel), outside_marking_make(by=by, parcel=parcel)]
    made += care_sheets_make(by=by, parcel=parcel)
    return made


def packing_slip_make(*, by: Person, parcel: Parcel) -> Document:
    """The packing slip: who, to whom, a complete list by scientific name and number, the predicted course, cautions."""
    return _make(by, parcel, SLIP, "shipping/papers/packing_slip.html", slip_context(parcel))


def outside_marking_make(*, by: Person, parcel: Parcel) -> Document:
    """The marking for the outside: shipper, consignee, contents by scientific name and number, venomous or not."""
    return _make(by, parcel, MARKING, "shipping/papers/outside_marking.html", slip_context(parcel, with_course=False))


def care_sheets_make(*, by: Person, parcel: Parcel) -> list[Document]:
    """One care sheet for each animal whose species has one."""
    made = []
    for row in slip_context(parcel, with_course=False)["rows"]:
        sheet = care_sheet(row["animal"].species.scientific)
        if sheet is None:
            continue
        context = {"sheet": sheet, "row": row, "parcel": parcel, "warmth": _warmth(sheet), "qr": _qr(parcel)}
        code = row["animal"].code
        made.append(_make(by, parcel, CARE, "shipping/papers/care_sheet.html", context, label=f"{CARE} {code}"))
    return made


def slip_context(parcel: Parcel, *, with_course: bool = True) -> dict[str, Any]:
    """Everything the slip says. Raises WrongState for a parcel without a day, Missing when it is empty."""
    parcel = Parcel.objects.select_related("order__buyer", "hub", "packed_by").get(pk=parcel.pk)
    if parcel.state not in PRINTABLE:
        raise WrongState(f"Parcel {parcel.number} is {parcel.state}. Book a day first: papers belong to a day.")
    cups = contents(parcel)
    if not cups or parcel.ship_on is None:
        raise Missing(f"Parcel {parcel.number} has no animals.")
    animals = [cup.animal for cup in cups]
    window = window_on(parcel, parcel.ship_on)
    course = course_of(parcel, window) if with_course and window is not None else None
    rows = _rows(animals)
    packing = shipped_packing()
    box, _, rest = parcel.packing.partition("+")
    return {
        "parcel": parcel,
        "rows": rows,
        "species": sorted({animal.species.scientific for animal in animals}),
        "count": len(rows),
        "venomous": any(animal.species.venomous for animal in animals),
        "qr": _qr(parcel),
        "course_svg": parcel_trace_svg(course, for_buyer=True, width=330, height=150, paper=True) if course else "",
        "window": window,
        "packing_label": (window.answer.get("packing") if window else None) or parcel.packing,
        "handling": [words for code, words in packing.handling.items() if code in parcel.packing],
        "limits": _limits(animals),
        "box": box,
        "packs": rest,
    }


def _rows(animals: list[Animal]) -> list[dict[str, Any]]:
    ids = [animal.pk for animal in animals]
    weights, meals = latest_weights(ids), last_meals_at(ids)
    sheds = dict(
        Shed.objects.filter(animal__in=ids, stage=ShedStage.SHED, struck_at__isnull=True)
        .order_by("observed_at")
        .values_list("animal_id", "observed_at")
    )
    return [
        {
            "cup": cup,
            "animal": animal,
            "weight": weights.get(animal.pk),
            "last_meal": meals.get(animal.pk),
            "last_shed": sheds.get(animal.pk),
        }
        for cup, animal in enumerate(animals, 1)
    ]


def _limits(animals: list[Animal]) -> dict[str, float] | None:
    """The narrowest green band and the highest red low line of all animals inside; None without a profile."""
    keys = ("ship.green_low_c", "ship.green_high_c", "ship.red_low_c")
    found = [profile_numbers(animal.species) for animal in animals]
    if any(key not in numbers for numbers in found for key in keys):
        return None
    low = max(numbers["ship.green_low_c"] for numbers in found)
    high = min(numbers["ship.green_high_c"] for numbers in found)
    never = max(numbers["ship.red_low_c"] for numbers in found)
    return {
        "low_c": low,
        "high_c": high,
        "low_f": c_to_f(low),
        "high_f": c_to_f(high),
        "never_c": never,
        "never_f": c_to_f(never),
    }


def _warmth(sheet: dict[str, Any]) -> list[dict[str, Any]]:
    """Rows of the warmth picture, placed between 15 and 40 °C in a 170-unit strip."""

    def x(temp_c: float) -> float:
        return round((temp_c - 15) / 25 * 170, 1)

    return [
        {
            **row,
            "x": x(row["low_c"]),
            "width": x(row["high_c"]) - x(row["low_c"]),
            "low_f": c_to_f(row["low_c"]),
            "high_f": c_to_f(row["high_c"]),
        }
        for row in sheet["warmth"]
    ]


def _qr(parcel: Parcel) -> str:
    return qr_svg(f"{settings.SITE_URL}/shipping/{parcel.ref}/", size_mm=26)


def _make(
    by: Person, parcel: Parcel, kind: str, template: str, context: dict[str, Any], label: str | None = None
) -> Document:
    """Render and keep; a paper printed earlier for the same parcel with other content is void from now on."""
    words = label or f"{kind} {parcel.number}"
    made = paper_make(
        by=by,
        kind=kind,
        subject_kind="parcel",
        subject_ref=parcel.ref,
        label=words,
        template=template,
        context={"printed_on": clock.today(), **context},
        filename=f"{words.replace(' ', '-')}.pdf",
    )
    older = documents_of("parcel", parcel.ref).filter(kind=kind, label=words, voided_at__isnull=True)
    for document in older.exclude(pk=made.pk):
        document_void(by=by, document=document, reason="printed again", request_key=None)
    return made
