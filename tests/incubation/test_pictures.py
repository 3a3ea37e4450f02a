"""The pictures say what the facts are: out of band is seen, silence is dotted and named, a window is a pill."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree

from apps.incubation.pages.box_line import short_place
from apps.incubation.pages.trace_svg import (
    BoxFacts,
    Calendar,
    TraceFacts,
    TraceNote,
    box_svg,
    calendar_axis_svg,
    trace_svg,
    trace_words,
)
from apps.incubation.selectors.eggs import short_look

ENDS = datetime(2027, 4, 6, 17, 0)
BEGINS = ENDS - timedelta(hours=48)


def facts(temps: list[tuple[float, float]], notes: tuple[TraceNote, ...] = ()) -> TraceFacts:
    """Readings at hours since the begin."""
    readings = [(BEGINS + timedelta(hours=hour), temp_c) for hour, temp_c in temps]
    return TraceFacts(readings, 30.5, 32.5, BEGINS, ENDS, "Incubator 2", notes)


def steady(step_h: float = 0.5) -> list[tuple[float, float]]:
    """48 hours in the band."""
    return [(index * step_h, 31.4) for index in range(int(48 / step_h) + 1)]


def classes(drawn: str) -> list[str]:
    """The classes of all elements."""
    return re.findall(r'class="([^"]+)"', drawn)


def test_in_band_has_no_accent_and_out_of_band_has() -> None:
    """And a picture is well-formed XML with words for a reader."""
    calm = trace_svg(facts(steady()))
    ElementTree.fromstring(calm)
    assert not [name for name in classes(calm) if "needs" in name]
    warm = facts([*steady()[:-2], (47.5, 33.0), (48.0, 33.6)])
    drawn = trace_svg(warm)
    assert "l-needs l-wide" in classes(drawn)
    assert "f-needs" in classes(drawn)  # the last dot
    assert "2 of 97 readings outside" in trace_words(warm)
    assert "all inside" in trace_words(facts(steady()))


def test_silence_is_dotted_named_and_spoken() -> None:
    """Four hours without a reading, and a probe that stopped."""
    gap = facts([item for item in steady() if not 20 < item[0] < 24])
    drawn = trace_svg(gap)
    assert "l-quiet l-dots" in classes(drawn)
    assert "silent 4 h" in drawn
    assert "Silent for 4 h" in trace_words(gap)
    stopped = trace_svg(facts(steady()[:60]))
    assert "l-quiet l-dots" in classes(stopped)
    assert trace_words(facts([])) == "No readings in this time."
    ElementTree.fromstring(trace_svg(facts([])))


def test_notes_are_named_and_what_needs_somebody_goes_first() -> None:
    """Two notes in one place: the open one stays."""
    at = ENDS - timedelta(hours=1)
    needs = TraceNote(at, ENDS, "left the band 16:00", needs=True)
    plain = TraceNote(at - timedelta(hours=1), at, "door, 38 min")
    drawn = trace_svg(facts([*steady()[:-2], (47.5, 33.0), (48, 33.6)], (plain, needs)))
    assert "left the band 16:00" in drawn
    assert "door, 38 min" not in drawn
    apart = TraceNote(BEGINS + timedelta(hours=10), BEGINS + timedelta(hours=11), "door, 38 min")
    assert "door, 38 min" in trace_svg(facts(steady(), (apart,)))


def test_a_short_peak_survives_thinning() -> None:
    """Minute readings: 2,881 of them, one lethal minute among them."""
    temps = [(index / 60, 39.9 if index == 1000 else 31.4) for index in range(2881)]
    drawn = trace_svg(facts(temps))
    assert len(drawn) < 40_000
    assert "l-needs l-wide" in classes(drawn)


def test_words_stay_inside_the_picture_whatever_the_width() -> None:
    """Axis words never run over each other, also for weeks on a phone."""
    for days, width in ((2, 920.0), (2, 356.0), (14, 920.0), (14, 356.0), (60, 356.0)):
        begins = ENDS - timedelta(days=days)
        readings = [(begins + timedelta(hours=index), 31.4) for index in range(days * 24)]
        drawn = trace_svg(TraceFacts(readings, 30.5, 32.5, begins, ENDS), width=width)
        places = [float(at) for at in re.findall(r'<text class="t-10" x="([\d.]+)"', drawn)]
        assert len(places) >= 2, (days, width)
        assert all(after - before >= 40 for before, after in pairwise(places)), (days, width)
        assert max(places) < width


def test_a_box_row_says_its_window_and_excursions() -> None:
    """A pill in ink, in accent when it needs somebody, a triangle for each day out of band."""
    window = (date(2027, 4, 22), date(2027, 4, 27), date(2027, 5, 3))
    plain = BoxFacts(date(2027, 3, 3), date(2027, 4, 6), 0.63, window)
    first, last = date(2027, 3, 1), date(2027, 6, 1)
    drawn = box_svg(plain, first=first, last=last)
    ElementTree.fromstring(drawn)
    assert "pill" in classes(drawn)
    assert "pill pill-needs" not in classes(drawn)
    assert "22 Apr – 3 May" in drawn
    late = BoxFacts(
        plain.laid_on, plain.today, 1.0, window, needs=True, excursions=[date(2027, 3, 20), date(2027, 4, 1)]
    )
    drawn = box_svg(late, first=first, last=last)
    assert "pill pill-needs" in classes(drawn)
    assert classes(drawn).count("f-needs") == 2
    assert "left the band on 2 days" in drawn
    unknown = box_svg(BoxFacts(plain.laid_on, plain.today, None, None), first=first, last=last)
    assert "pill" not in classes(unknown)


def test_rows_and_axis_share_one_scale() -> None:
    """Today's hairline in a row stands under today's box on the axis."""
    calendar = Calendar(date(2027, 3, 1), date(2027, 6, 1))
    today = date(2027, 4, 6)
    axis = calendar_axis_svg(calendar, today)
    row = box_svg(
        BoxFacts(date(2027, 3, 3), today, 0.5, None), first=calendar.first, last=calendar.last, width=calendar.width
    )
    found = [re.search(r'class="today" d="M([\d.]+) ', drawn) for drawn in (axis, row)]
    assert found[0] is not None
    assert found[1] is not None
    assert found[0].group(1) == found[1].group(1)


def test_short_words() -> None:
    """What the narrow columns say."""
    assert short_look("Lesser Mystic 50% het Ghost") == "Lesser Mystic"
    assert short_look("normal 37% het Lavender Albino 21% het Ghost") == "het"
    assert short_look("double het Clown Pied") == "het"
    assert short_look("") == "normal"
    assert short_look("normal het Pied", carrier="normal") == "normal"
    assert short_place("Incubator 12") == "inc. 12"
    assert short_place("Cupboard") == "Cupboard"
