"""Files of weights and meals: bad rows named with column and fix, good rows whole, a repeat changes nothing."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord, Status
from apps.animals.models import Animal, Fact, Hold
from apps.animals.services import animal_status_set
from apps.care.models import HealthNote, MealCheck, MealOffer, Weight
from apps.care.selectors import last_meal_at, meals_of
from apps.care.services.imports import MealsImporter, WeightsImporter
from apps.core import clock
from apps.core.exchange import Importer, ImportReport, run_import
from tests.care.conftest import register
from tests.factories.care import offered, weighed

pytestmark = pytest.mark.django_db


def run(importer: Importer[Any], folder: Path, text: str, *, dry: bool = False) -> ImportReport:
    path = folder / "file.csv"
    path.write_text(text, encoding="utf-8")
    return run_import(importer, path, dry_run=dry, max_bytes=10**6)


def weights(by: Person, folder: Path, *rows: str, dry: bool = False) -> ImportReport:
    text = "\n".join(["code,weighed_on,weight_g,doubtful", *rows])
    return run(WeightsImporter(by), folder, text, dry=dry)


def meals(by: Person, folder: Path, *rows: str, dry: bool = False) -> ImportReport:
    head = "code,offered_on,prey,size,prey_g,count,presentation,outcome,checked_on"
    return run(MealsImporter(by), folder, "\n".join([head, *rows]), dry=dry)


def test_the_example_files_go_in_twice(owner: Person, snakes: list[Animal]) -> None:
    for code in ("PR-0412", "PR-0093"):
        register(owner, code)
    kinds: list[tuple[type[Importer[Any]], str, type[Fact], int]] = [
        (WeightsImporter, "weights.csv", Weight, 4),
        (MealsImporter, "meals.csv", MealOffer, 4),
    ]
    for importer, name, model, rows in kinds:
        path = Path(settings.BASE_DIR) / "fixtures" / "examples" / name
        first = run_import(importer(owner), path, dry_run=False, max_bytes=10**6)
        assert (first.counts.added, first.errors) == (rows, [])
        again = run_import(importer(owner), path, dry_run=False, max_bytes=10**6)
        assert "Nothing changed" in again.sentence
        assert model._default_manager.count() == rows
    assert Weight.objects.filter(doubtful=True).count() == 1
    assert Weight.objects.filter(mass_g=1102.5).exists()


def test_the_meal_of_yesterday_evening_that_nobody_checked_holds_her_still(
    owner: Person, snakes: list[Animal], tmp_path: Path
) -> None:
    yesterday = clock.today() - timedelta(days=1)
    meals(owner, tmp_path, f"{snakes[0].code},{yesterday.isoformat()},rat,small,62,1,thawed,,")
    assert Hold.objects.filter(word=HoldWord.FED, animal=snakes[0]).count() == 1


def test_a_dry_run_writes_nothing(keeper: Person, snake: Animal, tmp_path: Path) -> None:
    report = weights(keeper, tmp_path, "PR-0001,2027-04-01,1700,", dry=True)
    assert (report.counts.added, Weight.objects.count()) == (1, 0)


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("PR-0009,2027-04-01,1700,", "code", "Did you mean"),
        (",2027-04-01,1700,", "code", "empty"),
        ("PR-0001,,1700,", "weighed_on", "empty"),
        ("PR-0001,2027-04-31,1700,", "weighed_on", "2027-04-06"),
        ("PR-0001,2027-04-01T25:00,1700,", "weighed_on", "day and time"),
        ("PR-0001,2027-04-08,1700,", "weighed_on", "still to come"),
        ("PR-0001,2019-04-08,1700,", "weighed_on", "hatched on"),
        ("PR-0001,2027-04-01,,", "weight_g", "empty"),
        ("PR-0001,2027-04-01,heavy,", "weight_g", "number of grams"),
        ('PR-0001,2027-04-01,"1,743",', "weight_g", "two ways"),
        ("PR-0001,2027-04-01,0,", "weight_g", "above 0 g"),
        ("PR-0001,2027-04-01,9000,", "weight_g", "yes under doubtful"),
        ("PR-0001,2027-04-01,1700,perhaps", "doubtful", "Choose from"),
    ],
)
def test_a_bad_weight_row_names_column_and_fix_and_the_good_one_goes_in(
    keeper: Person, snakes: list[Animal], tmp_path: Path, row: str, column: str, words: str
) -> None:
    report = weights(keeper, tmp_path, row, "PR-0002,2027-04-01,1600,")
    (error,) = report.errors
    assert (error.line, error.column) == (2, column)
    assert words in error.message
    assert [weight.animal.code for weight in Weight.objects.all()] == ["PR-0002"]


def test_a_jump_within_the_file_is_questioned_whatever_the_order_of_rows(
    keeper: Person, snake: Animal, tmp_path: Path
) -> None:
    report = weights(
        keeper, tmp_path, "PR-0001,2027-03-20,1650,", "PR-0001,2027-03-10,165,", "PR-0001,2027-03-01,1600,"
    )
    (error,) = report.errors
    assert error.line == 3
    assert "1,600 g" in error.message
    assert set(Weight.objects.values_list("mass_g", flat=True)) == {1650, 1600}


def test_a_weight_of_today_is_the_same_an_hour_later(
    keeper: Person, snake: Animal, tmp_path: Path, frozen: datetime
) -> None:
    with clock.at(frozen - timedelta(hours=7)):
        weights(keeper, tmp_path, "PR-0001,2027-04-06,1700,")
    report = weights(keeper, tmp_path, "PR-0001,2027-04-06,1700,")
    assert report.counts.unchanged == 1
    weighed(keeper, snake, 1600, days_ago=3)
    assert weights(keeper, tmp_path, "PR-0001,2027-04-03,1600,").counts.unchanged == 1
    assert Weight.objects.count() == 2


def test_history_of_an_animal_that_is_gone_goes_in_and_later_facts_do_not(
    keeper: Person, owner: Person, snake: Animal, tmp_path: Path
) -> None:
    animal_status_set(by=owner, animal=snake, status=Status.DEAD, on=date(2027, 3, 1))
    report = weights(keeper, tmp_path, "PR-0001,2027-02-01,1700,", "PR-0001,2027-03-05,1700,")
    assert (report.counts.added, [error.column for error in report.errors]) == (1, ["weighed_on"])


def test_meals_with_their_fates(keeper: Person, snake: Animal, tmp_path: Path) -> None:
    report = meals(
        keeper,
        tmp_path,
        "PR-0001,2027-02-01,rat,small,60,2,thawed,ate,",
        "PR-0001,2027-02-15,rat,small,60,1,thawed,left,2027-02-16",
        "PR-0001,2027-03-01,rat,,,,,regurgitated,",
        "PR-0001,2027-04-05,mouse,,,,fresh-killed,,",
    )
    assert report.errors == []
    found = meals_of([snake.pk])[snake.pk]
    assert [meal.outcome for meal in found] == ["ate", "left", "regurgitated", None]
    assert found[0].total_g == 120
    # a regurgitation whose fortnight is over opens no note and holds nothing
    assert HealthNote.objects.count() == 0
    assert [hold.word for hold in Hold.objects.filter(animal=snake)] == [HoldWord.FED]
    assert last_meal_at(snake) == found[-1].offered_at
    assert AuditRow.objects.filter(act="meals.record").count() == 1


def test_a_recent_regurgitation_opens_its_note_and_hold(keeper: Person, snake: Animal, tmp_path: Path) -> None:
    meals(keeper, tmp_path, "PR-0001,2027-04-01,rat,,,,,regurgitated,2027-04-03")
    assert HealthNote.objects.get().signs == ["regurgitation"]
    assert Hold.objects.filter(animal=snake, word=HoldWord.REGURGITATION).exists()


def test_a_file_may_bring_the_check_later_but_never_another_fate(keeper: Person, snake: Animal, tmp_path: Path) -> None:
    offered(keeper, snake, hours_ago=30, prey="rat", size="small", prey_g=60.0)
    report = meals(keeper, tmp_path, "PR-0001,2027-04-05,rat,small,60,1,thawed,ate,")
    assert (report.counts.changed, report.counts.added) == (1, 0)
    assert MealCheck.objects.count() == 1
    assert meals(keeper, tmp_path, "PR-0001,2027-04-05,rat,small,60,1,thawed,ate,").counts.unchanged == 1
    other = meals(keeper, tmp_path, "PR-0001,2027-04-05,rat,small,60,1,thawed,left,")
    assert [error.column for error in other.errors] == ["outcome"]
    assert MealOffer.objects.count() == 1


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("PR-0001,2027-04-01,rta,,,,,,", "prey", "Did you mean “rat”?"),
        ("PR-0001,2027-04-01,,,,,,,", "prey", "empty"),
        ("PR-0001,2027-04-01,rat,,0,,,,", "prey_g", "above 0 g"),
        ("PR-0001,2027-04-01,rat,,,two,,,", "count", "whole number"),
        ("PR-0001,2027-04-01,rat,,,0,,,", "count", "1 to 200"),
        ("PR-0001,2027-04-01,rat,,,,boiled,,", "presentation", "Choose from"),
        ("PR-0001,2027-04-01,rat,,,,,refused,", "outcome", "Choose from"),
        ("PR-0001,2027-04-01,rat,,,,,,2027-04-02", "outcome", "needs its outcome"),
        ("PR-0001,2027-04-02,rat,,,,,ate,2027-04-01", "checked_on", "after it was offered"),
        ("PR-0001,2027-04-09,rat,,,,,,", "offered_on", "still to come"),
        ("PR-0099,2027-04-01,rat,,,,,,", "code", "Import animals first"),
    ],
)
def test_a_bad_meal_row_names_column_and_fix(
    keeper: Person, snakes: list[Animal], tmp_path: Path, row: str, column: str, words: str
) -> None:
    report = meals(keeper, tmp_path, row, "PR-0002,2027-04-01,rat,,,,,,")
    (error,) = report.errors
    assert (error.line, error.column) == (2, column)
    assert words in error.message
    assert MealOffer.objects.count() == 1
