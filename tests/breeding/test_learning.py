"""Closed seasons correct the species' figures: what is written, what stays above it, and that it is done once."""

from __future__ import annotations

from datetime import date

import pytest
from django.core.management import call_command

from apps.accounts.models import Person
from apps.accounts.selectors import system_person
from apps.animals.choices import NumberOrigin
from apps.animals.models import Animal
from apps.animals.selectors import number_rows, profile_numbers
from apps.animals.services import species_number_set, species_numbers_learn
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.services import CycleItem, ScanItem, cycles_record, scans_record
from apps.breeding.services.learning import figures_learn_all
from apps.core import clock
from apps.core.errors import Invalid

pytestmark = pytest.mark.django_db

SLOW = ((date(2025, 11, 2), 8.0), (date(2025, 12, 14), 11.0), (date(2026, 2, 1), 17.0), (date(2026, 4, 1), 27.0))


@pytest.fixture
def past(owner: Person, female: Animal) -> Animal:
    """A slow season behind her; one cycle is enough to learn from here, and the house keeps its own start."""
    items = [ScanItem(female=female, mm=mm, observed_at=clock.noon(on)) for on, mm in SLOW]
    scans_record(by=owner, items=items)
    cycles_record(
        by=owner,
        items=[
            CycleItem(
                female=female,
                ovulated_on=date(2026, 6, 10),
                shed_on=date(2026, 6, 30),
                laid_on=date(2026, 8, 5),
                eggs=5,
                slugs=0,
            )
        ],
    )
    species_number_set(by=owner, species=female.species, key="learn.least_cycles", value=1)
    species_number_set(by=owner, species=female.species, key="growth.start_week_mean", value=8.5)
    return female


def test_a_closed_season_moves_the_figures_and_only_once(past: Animal) -> None:
    shipped = profile_numbers(past.species)
    said = figures_learn_all(by=system_person())
    assert "from 1 cycle, 1 ovulation" in said
    rows = number_rows(past.species)
    learned = {key for key, row in rows.items() if row.origin == NumberOrigin.RECORDS}
    assert "growth.start_week_mean" not in learned, "the house set it"
    assert rows["growth.start_week_mean"].value == 8.5
    row = rows["growth.rate_median_mm_per_week"]
    assert row.value < shipped["growth.rate_median_mm_per_week"], "she grew slowly"
    assert row.source == "own records: 1 cycle, 4 readings, 1 ovulation, seasons that ended 2026 to 2026"
    assert row.unit == "mm/week"
    days = rows["timing.shed_to_laying_days_p50"].value
    assert days == pytest.approx((10 * shipped["timing.shed_to_laying_days_p50"] + 36) / 11), (
        "ten shipped cycles and hers"
    )
    engine = species_profile(past.species).engine
    assert engine is not None
    assert engine.growth_rate_median_mm_per_week == row.value, "the season asks with it"
    assert profile_numbers(past.species, with_records=False) == shipped
    assert figures_learn_all(by=system_person()) == "nothing new in closed seasons"


def test_too_few_cycles_teach_nothing(owner: Person, past: Animal) -> None:
    species_number_set(by=owner, species=past.species, key="learn.least_cycles", value=2)
    assert figures_learn_all(by=system_person()) == "nothing new in closed seasons"


def test_a_house_number_stands_above_what_the_records_say(owner: Person, female: Animal) -> None:
    key = "growth.rate_median_mm_per_week"
    species_numbers_learn(by=owner, species=female.species, numbers={key: 2.6}, source="own records: 30 cycles")
    assert profile_numbers(female.species)[key] == 2.6
    species_number_set(by=owner, species=female.species, key=key, value=2.2)
    species_numbers_learn(by=owner, species=female.species, numbers={key: 2.7}, source="own records: 40 cycles")
    assert profile_numbers(female.species)[key] == 2.2
    with pytest.raises(Invalid, match="no number"):
        species_numbers_learn(by=owner, species=female.species, numbers={"growth.nonsense": 1.0}, source="x")


def test_the_backtest_learns_from_the_seasons_before(
    owner: Person, past: Animal, capsys: pytest.CaptureFixture[str]
) -> None:
    scans_record(by=owner, items=[ScanItem(female=past, mm=9.0, observed_at=clock.noon(date(2026, 11, 2)))])
    call_command("backtest", "--species", "ball python", "--numbers-today")
    assert "2026/27: 1 cycle with readings; figures learned from 1 earlier cycle" in capsys.readouterr().out
    call_command("backtest", "--species", "ball python", "--numbers-today", "--not-learned")
    assert "learned" not in capsys.readouterr().out
