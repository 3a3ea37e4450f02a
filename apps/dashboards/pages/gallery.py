"""Every component of the screens with a drawn example, for whoever builds the next page.

What is shown here is invented to show a shape; no record stands behind it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django import forms

from apps.animals.pages.kinship_svg import Part, founders_svg, spread_svg
from apps.animals.pages.lineage_svg import Bar, Box, lineage_svg
from apps.breeding.pages.round_svg import Tick, progress_svg
from apps.breeding.pages.season_strip_svg import (
    FanPoint,
    MealMark,
    ScanMark,
    Size,
    StripFacts,
    StripLines,
    VisitMark,
    WeightMark,
    WindowMark,
    axis_months,
    season_strip,
)
from apps.care.pages.growth_svg import ExpectedPoint, growth_svg
from apps.care.pages.weights_svg import WeightPoint, weights_svg
from apps.core.marks import MARKS, mark_shape
from apps.dashboards.pages.parents_svg import Ancestor, parents_svg
from apps.incubation.pages.trace_svg import BoxFacts, Calendar, TraceFacts, box_svg, calendar_axis_svg, trace_svg
from apps.shipping.pages.parcel_trace_svg import LegMark, parcel_trace_svg
from apps.shipping.pages.parcel_trace_svg import TraceFacts as CourseFacts
from apps.shipping.pages.window_cell_svg import window_cell_svg

OPENING = date(2026, 10, 5)
TODAY = date(2027, 3, 8)
STRIPS: tuple[Size, ...] = ("board", "phone", "past", "opened", "scan", "page")
TICKS = ("done", "skipped", "question", "waiting")
NOBODY = "nobody"  # the example animals have no page, each its own though: one that stands twice is drawn in accent
PICTOGRAMS = ("counter", "hands", "holes", "sun", "up", "warmth")


class ExampleForm(forms.Form):
    """One field of each kind that the house lays out differently."""

    mass_g = forms.IntegerField(label="Weight", help_text="last 1,743 g on 1 Mar", initial=1760)
    on = forms.DateField(label="Day", initial=TODAY)
    place = forms.ChoiceField(label="Tub", choices=[("a", "A-3"), ("b", "A-4")], required=False)
    note = forms.CharField(label="Note", widget=forms.Textarea, required=False)
    hold = forms.BooleanField(label="Keep her apart", required=False)
    stages = forms.MultipleChoiceField(
        label="Seen", choices=[("glow", "glow"), ("shed", "shed")], widget=forms.CheckboxSelectMultiple, required=False
    )
    fate = forms.ChoiceField(
        label="Fate", choices=[("ate", "Ate"), ("left", "Left")], widget=forms.RadioSelect, initial="ate"
    )


class WholeForm(forms.Form):
    """What ``core/ui/form.html`` lays out by itself."""

    mass_g = forms.IntegerField(label="Weight", required=False)


@dataclass(frozen=True, slots=True)
class Mark:
    """A shape and the word it stands beside; ``kind`` where one word has two shapes."""

    word: str
    kind: str


def gallery_marks() -> list[Mark]:
    """Every mark once, in the order of its table."""
    pairs = (name.rpartition(":") for name in MARKS)
    return [Mark(word=word, kind=kind) for kind, _, word in pairs if mark_shape(word, kind)]


def example_forms() -> Mapping[str, forms.Form]:
    """The form as it is met, and as it comes back with what was wrong."""
    refused = ExampleForm(
        {"refused-mass_g": "", "refused-on": "2027-03-08", "refused-fate": "ate"},
        auto_id="refused_%s",
        prefix="refused",
    )
    refused.is_valid()
    return {"fresh": ExampleForm(auto_id="fresh_%s"), "refused": refused, "whole": WholeForm(auto_id="whole_%s")}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with its name and the function that draws it."""

    name: str
    function: str
    svg: str


def _forebears() -> Box:
    """Two known generations, one parent unknown (invented)."""
    grandam = Box("PR-0031", "normal", "female", "g", is_dead=True)
    dam = Box("PR-0112", "Pastel", "female", "d", bars=(Bar("Clown", 0.66, 0.5),), dam=grandam)
    sire = Box("PR-0140", "Clown", "male", "s", bars=(Bar("Clown", 1.0),))
    return Box("PR-0412", "Pastel", "female", "a", bars=(Bar("Clown", 1.0, 0.83),), dam=dam, sire=sire)


def gallery_pictures() -> list[Picture]:
    """Every picture of the house."""
    return list(_pictures())


def _pictures() -> Iterator[Picture]:
    strip = "apps.breeding.pages.season_strip_svg.season_strip"
    for size in STRIPS:
        yield Picture(f"Season strip, {size}", strip, season_strip(_season(), size))
    months = axis_months(_season().lines, "board", TODAY)
    yield Picture("Months over a table of strips", "apps.breeding.pages.season_strip_svg.axis_months", months)
    ticks = [Tick(TICKS[min(n // 5, 3)], f"Rack {n // 10 + 1}", current=n == 14) for n in range(30)]
    yield Picture("Progress of a round", "apps.breeding.pages.round_svg.progress_svg", progress_svg(ticks, 320))
    weights = [WeightPoint(OPENING + timedelta(days=21 * n), 1650 + 30 * n, doubtful=n == 3) for n in range(8)]
    yield Picture("Weights", "apps.care.pages.weights_svg.weights_svg", weights_svg(weights, today=TODAY))
    usual = [
        ExpectedPoint(OPENING + timedelta(days=21 * n), 1500 + 25 * n, 1680 + 30 * n, 1900 + 32 * n) for n in range(8)
    ]
    growth = growth_svg(weights, usual, [[WeightPoint(point.on, point.mass_g - 120) for point in weights]], today=TODAY)
    yield Picture("Growth beside what is usual", "apps.care.pages.growth_svg.growth_svg", growth)
    yield Picture("Lineage", "apps.animals.pages.lineage_svg.lineage_svg", lineage_svg(_forebears(), 2))
    spread = spread_svg([0.0] * 9 + [0.002 * n for n in range(1, 80)], title="Inbreeding", of="F", limit=0.125)
    yield Picture("Spread of a figure of kinship", "apps.animals.pages.kinship_svg.spread_svg", spread)
    founders = [Part(f"PR-{n:04d}", 0.3 / n, "not here" if n == 2 else "") for n in range(1, 7)]
    drawn = founders_svg([*founders, Part("not recorded", 0.08, quiet=True)], title="What each founder gave")
    yield Picture("Founders of a collection", "apps.animals.pages.kinship_svg.founders_svg", drawn)
    trace = trace_svg(_trace())
    yield Picture("Incubator trace", "apps.incubation.pages.trace_svg.trace_svg", trace)
    months = calendar_axis_svg(Calendar(date(2027, 1, 18), date(2027, 4, 5)), TODAY)
    yield Picture("Months over box rows", "apps.incubation.pages.trace_svg.calendar_axis_svg", months)
    yield Picture("Box calendar", "apps.incubation.pages.trace_svg.box_svg", _box())
    yield Picture("Window cell", "apps.shipping.pages.window_cell_svg.window_cell_svg", _cells())
    course = "apps.shipping.pages.parcel_trace_svg.parcel_trace_svg"
    yield Picture("Parcel trace, for the packer", course, parcel_trace_svg(_course()))
    yield Picture("Parcel trace, for the buyer", course, parcel_trace_svg(_course(), for_buyer=True))
    lineage = re.sub(f'"/animals/{NOBODY}./"', '"#pictures"', parents_svg(_lineage()))
    yield Picture("Lineage", "apps.dashboards.pages.parents_svg.parents_svg", lineage)


def _season() -> StripFacts:
    scans = [ScanMark(OPENING + timedelta(days=14 * n), 6.0 + 2.7 * n, doubtful=n == 4) for n in range(11)]
    last = scans[-1]
    spread = [(7 * n, last.mm + 1.35 * n, 0.5 + 0.25 * n) for n in range(8)]
    fan = [FanPoint(last.on + timedelta(n), mm - 2 * w, mm - w, mm, mm + w, mm + 2 * w) for n, mm, w in spread]
    return StripFacts(
        lines=StripLines(OPENING, 42, 4, 42, 10, 35, 40, 22),
        today=TODAY,
        scans=scans,
        visits=[VisitMark(OPENING + timedelta(days=60 + 9 * n), locked=n % 2 == 0) for n in range(6)],
        meals=[MealMark(OPENING + timedelta(days=7 * n), ate=n < 15) for n in range(20)],
        weights=[WeightMark(OPENING + timedelta(days=28 * n), 1650 + 40 * n) for n in range(6)],
        fan=fan,
        ovulation=WindowMark(date(2027, 4, 1), date(2027, 4, 9), date(2027, 4, 20)),
        laying=WindowMark(date(2027, 5, 12), date(2027, 5, 22), date(2027, 6, 4)),
        label="EXAMPLE 1",
    )


def _trace() -> TraceFacts:
    begins = datetime(2027, 3, 7, 8, tzinfo=UTC)
    temps = [31.5, 31.6, 31.4, 31.5, 32.4, 33.1, 32.6, 31.8, 31.5, 31.4]
    hours = [0, 0.5, 1, 1.5, 2, 2.5, 3, 6, 6.5, 7]
    readings = [(begins + timedelta(hours=h), t) for h, t in zip(hours, temps, strict=True)]
    return TraceFacts(readings, 30.5, 32.5, begins, begins + timedelta(hours=8), label="an example incubator")


def _box() -> str:
    hatch = (date(2027, 3, 20), date(2027, 3, 24), date(2027, 3, 29))
    facts = BoxFacts(date(2027, 1, 25), TODAY, 0.72, hatch, excursion=True)
    return box_svg(facts, first=date(2027, 1, 18), last=date(2027, 4, 5))


def _cells() -> str:
    spans = ((22.0, 28.0), (16.0, 25.0), (9.0, 38.0))
    return "".join(window_cell_svg(lowest_c=low, highest_c=high, band_c=(20.0, 29.0)) for low, high in spans)


def _course() -> CourseFacts:
    hours = [float(h) for h in range(20)]
    inside = [25 - 0.2 * h for h in hours]
    return CourseFacts(
        at_h=hours,
        outside_c=[18 - 0.6 * h for h in hours],
        expected_c=inside,
        low_c=[t - 0.1 * h for t, h in zip(inside, hours, strict=True)],
        high_c=[t + 0.1 * h for t, h in zip(inside, hours, strict=True)],
        failed_c=[t - 0.4 * h for t, h in zip(inside, hours, strict=True)],
        band_c=(20.0, 29.0),
        red_c=(15.0, 33.0),
        legs=[LegMark(0, 6, "truck"), LegMark(6, 12, "hub"), LegMark(12, 19, "counter")],
        begins="Mon 17:00",
        ends="Tue 12:00",
    )


def _lineage() -> Ancestor:
    old = Ancestor("EXAMPLE 4", "Normal", "female", f"{NOBODY}0", is_dead=True)
    dam = Ancestor("EXAMPLE 2", "Pastel", "female", f"{NOBODY}1", dam=old)
    return Ancestor("EXAMPLE 1", "Pastel het Clown", "female", f"{NOBODY}2", dam=dam)


def example_rows() -> list[dict[str, Any]]:
    """Three rows of a working table."""
    return [
        {"margin": "A-1", "code": "EXAMPLE 1", "state": "vitellogenic", "mm": 24.1, "needs": False},
        {"margin": "A-2", "code": "EXAMPLE 2", "state": "preovulatory", "mm": 38.6, "needs": True},
        {"margin": "A-3", "code": "EXAMPLE 3", "state": "regressing", "mm": 12.0, "needs": False},
    ]
