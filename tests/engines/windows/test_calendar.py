"""The carrier calendar: weekdays, holidays, the slip of a day, the cut-off."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from apps.engines.windows.ship_calendar import calendar_verdict
from apps.shipping.selectors.knowledge import ship_calendar


@pytest.mark.parametrize(
    ("day", "verdict"),
    [
        ("2027-04-05", "go"),  # Monday
        ("2027-04-07", "go"),  # Wednesday
        ("2027-04-08", "marginal"),  # Thursday: a slip would reach Saturday
        ("2027-04-09", "no-go"),  # Friday
        ("2027-04-10", "no-go"),
        ("2027-04-11", "no-go"),
        ("2026-11-23", "go"),  # worked in reference/shipping.md 5: Tue 24, slip Wed 25
        ("2026-11-24", "marginal"),  # slip would reach Thanksgiving
        ("2026-11-25", "no-go"),  # worked there: delivery on Thanksgiving
        ("2026-11-26", "no-go"),
        ("2026-07-02", "no-go"),  # delivery on 3 July, observed (holidays 0.109)
        ("2027-12-23", "no-go"),  # delivery on 24 December, observed
        ("2026-12-16", "marginal"),  # peak volume
        ("2027-10-11", "marginal"),  # Columbus Day: carriers may work
    ],
)
def test_days(day: str, verdict: str) -> None:
    here = date.fromisoformat(day)
    assert calendar_verdict(here, ship_calendar(here, here)).verdict == verdict


def test_cut_off_and_past_days() -> None:
    day = date(2027, 4, 7)
    calendar = ship_calendar(day, day)
    assert calendar_verdict(day, calendar, datetime(2027, 4, 7, 15, 29)).verdict == "go"
    late = calendar_verdict(day, calendar, datetime(2027, 4, 7, 15, 31))
    assert late.verdict == "no-go"
    assert "15:30" in late.reason
    assert calendar_verdict(day, calendar, datetime(2027, 4, 8, 9, 0)).verdict == "no-go"


def test_every_reason_is_kept() -> None:
    thursday = date(2026, 12, 24)
    reason = calendar_verdict(thursday, ship_calendar(thursday, thursday)).reason
    assert "Christmas" in reason
    assert "staffed counter" in reason
