"""The predicted course of a parcel on its day, as the picture takes it."""

from __future__ import annotations

import time
from datetime import date, timedelta

from apps.core import clock
from apps.engines.windows.judge import ShipQuestion, parcel_trace
from apps.shipping.models import Parcel, ParcelWindow
from apps.shipping.pages.parcel_trace_svg import LegMark, TraceFacts
from apps.shipping.selectors.knowledge import ship_rules
from apps.shipping.selectors.windows import window_inputs

SECONDS = 10.0


def course_of(parcel: Parcel, window: ParcelWindow) -> TraceFacts | None:
    """The course of the animal that decides the window; None where the weather does not allow one."""
    deciding = window.answer.get("code") or next(
        (row["code"] for row in window.answer.get("animals", []) if row["verdict"] == window.verdict), ""
    )
    inputs = window_inputs(parcel, (window.day,))
    chosen = next((item for item in inputs if item.animal.code == deciding), inputs[0] if inputs else None)
    if chosen is None or chosen.question is None:
        return None
    return trace_facts(chosen.question, window.day, window.packing or None)


def trace_facts(question: ShipQuestion, day: date, packing: str | None) -> TraceFacts | None:
    """Ask the engine for the course and put it into the picture's terms."""
    rules = ship_rules(day, day)
    found = parcel_trace(question, rules, day, packing, deadline=time.monotonic() + SECONDS)
    begins = question.hour_zero[day]
    if found is None or begins is None:
        return None
    horizon = max(leg.to_h for leg in question.legs)
    first, last = clock.local(begins), clock.local(begins + timedelta(hours=horizon))
    return TraceFacts(
        at_h=found.at_h,
        outside_c=found.outside_c,
        expected_c=found.expected_c,
        low_c=found.low_c,
        high_c=found.high_c,
        failed_c=found.failed_c,
        band_c=(question.band.green_low_c, question.band.green_high_c),
        red_c=(question.band.red_low_c, question.band.red_high_c),
        legs=[LegMark(leg.from_h, leg.to_h, leg.place) for leg in question.legs],
        begins=f"{first:%a %H:%M}",
        ends=f"{last:%a %H:%M}",
    )
