"""The season strip draws what it was given, where the scales say, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest

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
    strip_words,
)

NS = "{http://www.w3.org/2000/svg}"
START, TODAY = date(2026, 10, 5), date(2027, 4, 6)
LINES = StripLines(START, 42, 4, 42, 10, 35, 40, 22, weight_span_g=420)
SIZES: tuple[Size, ...] = ("board", "scan", "page", "phone", "opened", "past")
EMPTY = StripFacts(LINES, TODAY, label="PR-0412")
FULL = StripFacts(
    LINES,
    TODAY,
    scans=[
        ScanMark(date(2026, 11, 1), 7.9),
        ScanMark(date(2027, 1, 20), 16.4),
        ScanMark(date(2027, 2, 10), 3.1, doubtful=True),
        ScanMark(date(2027, 4, 1), 36.6),
    ],
    visits=[VisitMark(date(2026, 12, 1), False), VisitMark(date(2027, 1, 8), True), VisitMark(date(2027, 2, 12), True)],
    meals=[
        MealMark(date(2027, 3, 1), True),
        MealMark(date(2027, 3, 9), False),
        MealMark(date(2027, 3, 11), False),
        MealMark(date(2027, 3, 16), False),
    ],
    weights=[WeightMark(date(2026, 10, 10), 1544), WeightMark(date(2027, 3, 29), 1743)],
    fan=[FanPoint(TODAY + timedelta(days=3 * n), 36 + n, 36.5 + n, 37 + n, 37.5 + n, 38 + n) for n in range(12)],
    ovulation=WindowMark(date(2027, 4, 8), date(2027, 4, 13), date(2027, 4, 19)),
    laying=WindowMark(date(2027, 5, 25), date(2027, 6, 1), date(2027, 6, 9)),
    urgent=True,
    label="PR-0412",
)


def drawn(facts: StripFacts, size: Size = "board") -> ElementTree.Element:
    """The picture, parsed."""
    return ElementTree.fromstring(season_strip(facts, size))


def having(root: ElementTree.Element, cls: str) -> list[ElementTree.Element]:
    """Elements with a class."""
    return [node for node in root.iter() if cls in node.get("class", "").split()]


def texts(root: ElementTree.Element) -> list[str]:
    """Words written in the picture."""
    return [node.text or "" for node in root.iter(f"{NS}text")]


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_drawn_that_was_not_given(size: Size) -> None:
    """No reading, no forecast: only bands, months and today stand there."""
    root = drawn(EMPTY, size)
    for cls in ("fan", "fan-2", "median", "window-bar", "pill", "scan", "scan-line", "visit", "lock", "meal", "eggs"):
        assert having(root, cls) == [], cls
    assert len(having(root, "today")) == 1
    assert having(root, "band-earnest")


@pytest.mark.parametrize("size", SIZES)
def test_every_fact_is_drawn(size: Size) -> None:
    root = drawn(FULL, size)
    assert root.get("class") == "strip urgent"
    assert len(having(root, "scan")) == 3
    assert len(having(root, "scan-doubtful")) == 1
    assert len(having(root, "scan-last")) == 1
    assert having(root, "lock")[0].get("d", "").count("M") == 2
    assert having(root, "visit")[0].get("d", "").count("M") == 1
    assert having(root, "meal")[0].get("d", "").count("M") == 1
    assert len(having(root, "pill-mid")) == 1


def test_a_left_meal_is_one_ring_a_week() -> None:
    """9 and 11 March are one week, 16 March the next."""
    assert len(having(drawn(FULL), "meal-left")) == 2


def test_no_line_leads_to_a_doubtful_reading() -> None:
    line = having(drawn(FULL), "scan-line")[0].get("d", "")
    assert line.count("L") == 2


@pytest.mark.parametrize(("size", "height"), [("board", 28), ("opened", 118), ("scan", 250), ("page", 358)])
def test_measures(size: Size, height: float) -> None:
    """Rows of 28, opened 118; scan 222 and page 330 with 28 for the months below."""
    assert float(drawn(FULL, size).get("height", "")) == pytest.approx(height, abs=0.05)


def test_a_board_week_is_the_same_everywhere() -> None:
    """11.5 px a week: two rows can be compared by eye."""
    root = drawn(FULL)
    assert float(root.get("width", "")) == 42 * 11.5
    first = having(root, "scan")[0]
    assert float(first.get("cx", "")) == pytest.approx(((date(2026, 11, 1) - START).days + 0.5) * 11.5 / 7, abs=0.06)
    # 7.9 mm on a plot of 16.4 px from 4 to 42 mm, 2.2 px below the top
    assert float(first.get("cy", "")) == pytest.approx(2.2 + 16.4 * (1 - (7.9 - 4) / 38), abs=0.06)


def test_the_fan_ends_on_the_ovulation_line() -> None:
    """No forecast is drawn above the line, and none where even its slow edge has crossed it."""
    root = drawn(FULL, "page")
    line = 14 + 289 * (1 - (40 - 4) / 38)
    for cls in ("fan", "fan-2", "median"):
        points = having(root, cls)[0].get("d", "").strip("Mz").split("L")
        assert min(float(point.split()[1]) for point in points) == pytest.approx(line, abs=0.06)
    # p10 reaches 40 mm with the fifth point, twelve days on
    last = max(float(point.split()[0]) for point in having(root, "fan")[0].get("d", "").strip("Mz").split("L"))
    assert last == pytest.approx(30 + ((TODAY - START).days + 12.5) * 22.6 / 7, abs=0.06)


def test_what_was_seen_replaces_what_was_expected() -> None:
    seen = replace(FULL, ovulated_on=date(2027, 4, 5), shed_on=date(2027, 4, 6), laid_on=date(2027, 4, 6), fan=())
    root = drawn(seen)
    assert having(root, "window-bar") == []
    assert having(root, "pill") == []
    assert len(having(root, "ovulated")) == len(having(root, "shed")) == 1
    assert len(having(root, "eggs")) == 2
    assert len(having(drawn(replace(seen, laid_before=[date(2026, 12, 1)])), "eggs")) == 4


def test_a_late_window_goes_on_past_the_edge() -> None:
    """A pill cut at the right edge keeps its end open."""
    late = replace(FULL, laying=WindowMark(date(2027, 7, 10), date(2027, 8, 1), date(2027, 9, 20)))
    root = drawn(late)
    assert having(root, "pill")[0].tag == f"{NS}path"
    beyond = replace(FULL, laying=WindowMark(date(2027, 9, 10), date(2027, 9, 11), date(2027, 9, 20)))
    assert "f-none" in having(drawn(beyond), "pill")[0].get("class", "")
    assert "eggs 10 – 20 Sep" in texts(drawn(beyond, "page"))


def test_facts_outside_the_season_are_left_out() -> None:
    old = replace(
        EMPTY,
        scans=[ScanMark(date(2026, 10, 4), 20)],
        meals=[MealMark(date(2027, 8, 1), True)],
        today=date(2027, 8, 1),
    )
    root = drawn(old)
    assert having(root, "scan") == having(root, "meal") == having(root, "today") == []


def test_small_changes_of_weight_look_small() -> None:
    """The weight scale is at least as tall as the profile says."""

    def rise(span_g: float) -> float:
        facts = replace(EMPTY, lines=replace(LINES, weight_span_g=span_g), weights=FULL.weights)
        start, end = having(drawn(facts, "page"), "weight")[0].get("d", "").strip("M").split("L")
        return float(start.split()[1]) - float(end.split()[1])

    assert rise(420) < rise(0) * 0.6


def test_words_stand_apart() -> None:
    """No label lies on another, however near the dates are."""
    for days in range(0, 40, 4):
        window = WindowMark(TODAY + timedelta(days), TODAY + timedelta(days + 5), TODAY + timedelta(days + 12))
        for size in ("opened", "scan", "page"):
            boxes = []
            for node in drawn(replace(FULL, ovulation=window), size).iter(f"{NS}text"):
                if "halo" not in node.get("class", "").split():
                    continue
                width, x = len(node.text or "") * 11 * 0.5, float(node.get("x", ""))
                left = x - {"start": 0.0, "middle": width / 2, "end": width}[node.get("text-anchor", "start")]
                boxes.append((left, float(node.get("y", "")) - 9, left + width, float(node.get("y", ""))))
            for index, (a, b, c, d) in enumerate(boxes):
                for e, f, g, h in boxes[index + 1 :]:
                    assert c <= e or g <= a or d <= f or h <= b, (size, days)


def test_the_words_say_what_the_marks_say() -> None:
    assert strip_words(EMPTY) == "No reading yet."
    words = strip_words(FULL)
    for part in (
        "3 scans, the last 36.6 mm on 1 Apr, from 7.9 mm on 1 Nov",
        "1 reading kept as doubtful",
        "3 visits, 2 with a lock",
        "4 meals checked, 3 left",
        "1,743 g on 29 Mar",
        "ovulation expected 8 – 19 Apr, 80 %",
        "eggs expected 25 May – 9 Jun, 80 %",
    ):
        assert part in words
    root = drawn(FULL)
    assert (root.get("role"), root.findtext(f"{NS}title")) == ("img", "Season of PR-0412")
    assert root.findtext(f"{NS}desc") == words


def test_a_species_without_lines_still_has_a_strip() -> None:
    """No profile: an axis, the readings, no bands."""
    bare = replace(FULL, lines=StripLines(date(2026, 1, 1), 52, 0, 50, None, None, 50, None), today=date(2026, 12, 1))
    root = drawn(bare, "page")
    assert having(root, "band-earnest") == having(root, "line-appetite") == []


def test_months_over_a_table() -> None:
    root = ElementTree.fromstring(axis_months(LINES, "board", TODAY))
    assert texts(root) == ["Oct", "Nov", "Dec", "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "6 Apr"]
    assert root.get("aria-hidden") == "true"


def test_today_hides_no_half_of_a_month() -> None:
    """8 March stands on "Mar": the name is covered whole, and on a day far from any name nothing is."""
    box = drawn(replace(EMPTY, today=date(2027, 3, 8)), "scan")
    hidden = having(box, "month-hidden")
    assert len(hidden) == 1
    name = next(node for node in box.iter(f"{NS}text") if node.text == "Mar")
    left, wide = float(hidden[0].get("x", "")), float(hidden[0].get("width", ""))
    assert left < float(name.get("x", "")) < left + wide
    assert having(drawn(replace(EMPTY, today=date(2027, 3, 18)), "scan"), "month-hidden") == []
