"""Two exchanged tubs, and entries on the wrong animal: what is shown is what happens, and undo brings the rows back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import pytest

from apps.accounts.models import Correction, CorrectionRow, Person
from apps.accounts.services import rows_of
from apps.animals.models import Animal, Placement
from apps.breeding.models import Lock, Scan, SeasonForecast, Visit
from apps.care.models import MealOffer, Weight
from apps.care.selectors import meals_of
from apps.care.services import fact_strike, meal_check, weight_record
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many, NotAllowed, Stale, WrongState
from apps.dashboards.services.corrections.acts import facts_move, facts_wish, swap_wish, tubs_swap
from apps.dashboards.services.corrections.plan import Plan, preview
from apps.dashboards.services.corrections.undo import correction_undo
from tests.dashboards.corrections import (
    House,
    assert_rows_are,
    assert_undone,
    changed_rows,
    deliver_all,
    every_row,
)
from tests.factories.inventory import make_offer


def swap_plan(by: Person, house: House, **more: object) -> Plan:
    """What exchanging the two would change."""
    wish = swap_wish(by=by, first=house.first, second=house.second, since=house.since, **more)  # type: ignore[arg-type]
    return preview(by=by, wish=wish)


def swap(by: Person, house: House, **more: object) -> Correction:
    """Exchange the two, as previewed."""
    seen = swap_plan(by, house, **more).version
    return tubs_swap(
        by=by,
        first=house.first,
        second=house.second,
        since=house.since,
        why="found by weight",
        seen=seen,
        **more,  # type: ignore[arg-type]
    )


def without_ref(columns: Mapping[str, object]) -> dict[str, object]:
    """A row's columns but for the reference drawn by lot."""
    return {name: value for name, value in columns.items() if name != "ref"}


def test_a_preview_writes_nothing(keeper: Person, house: House) -> None:
    before = every_row()
    swap_plan(keeper, house)
    assert changed_rows(before, every_row()) == {}
    assert not Correction.objects.exists()


def test_the_preview_of_a_swap_is_what_happens_row_for_row(keeper: Person, house: House) -> None:
    before = every_row()
    plan = swap_plan(keeper, house)
    correction = swap(keeper, house)
    found = changed_rows(before, every_row())
    assert len(found) > 30
    assert_rows_are(rows_of(correction), found)
    # new refs are drawn by lot, everything else of the preview came true
    assert [(row.table, row.key, row.verb) for row in plan.rows] == [
        (row.table, row.key, row.verb) for row in rows_of(correction)
    ]
    for told, done in zip(plan.rows, rows_of(correction), strict=True):
        assert {k: v for k, v in told.before.items() if k != "ref"} == {
            k: v for k, v in done.before.items() if k != "ref"
        }
        assert {k: v for k, v in told.after.items() if k != "ref"} == {
            k: v for k, v in done.after.items() if k != "ref"
        }
    # and what other floors do on hearing of it changes nothing more
    deliver_all()
    assert changed_rows(before, every_row()) == found


def test_undo_of_a_swap_restores_every_row(keeper: Person, house: House) -> None:
    before = every_row()
    correction = swap(keeper, house)
    deliver_all()
    correction_undo(by=keeper, correction=correction)
    deliver_all()
    assert_undone(before, every_row(), correction)
    with pytest.raises(WrongState, match="undone already"):
        correction_undo(by=keeper, correction=correction)


def test_what_a_swap_means(keeper: Person, house: House) -> None:
    swap(keeper, house)
    first, second = Animal.objects.get(pk=house.first.pk), Animal.objects.get(pk=house.second.pk)
    assert first.tub is not None
    assert second.tub is not None
    assert (first.tub.label, second.tub.label) == ("3C-02", "3C-01")
    live = Weight.objects.filter(struck_at__isnull=True).order_by("observed_at")
    assert [row.mass_g for row in live.filter(animal=first)] == [1820.0, 1835.0]
    assert [row.mass_g for row in live.filter(animal=second)] == [1410.0, 1425.0]
    moved = live.get(animal=first, mass_g=1835.0)
    assert moved.moved_from is not None
    assert moved.moved_from.animal_id == second.pk
    assert moved.moved_from.struck_reason == "belongs to PR-0412"
    assert [row.mm for row in Scan.objects.filter(animal=first, struck_at__isnull=True)] == [14.0, 17.5]
    # meals keep their fates, and the hold goes with the animal that may hold the meal
    assert [meal.outcome for meal in meals_of([first.pk])[first.pk]] == ["left", None]
    assert [meal.outcome for meal in meals_of([second.pk])[second.pk]] == ["ate"]
    words = {hold.word for hold in second.holds.filter(lifted_at__isnull=True)}
    assert words == {"fed", "opaque"}
    assert {hold.word for hold in first.holds.filter(lifted_at__isnull=True, word="fed")} == {"fed"}
    visit = Visit.objects.get(struck_at__isnull=True)
    assert (visit.female, visit.male, visit.moved_from) == (second, house.male, house.visit)
    assert Lock.objects.get(struck_at__isnull=True).visit == visit
    for animal in (first, second):
        current = SeasonForecast.objects.get(season__female=animal, season__year=2026, is_current=True)
        assert current.made_at == clock.now()
    stays = Placement.objects.filter(animal=first).order_by("since")
    assert [(stay.tub.label, stay.until) for stay in stays] == [("3C-01", house.since), ("3C-02", None)]


def test_put_back_in_their_own_tubs(keeper: Person, house: House) -> None:
    before = every_row()
    correction = swap(keeper, house, put_back=True)
    assert_rows_are(rows_of(correction), changed_rows(before, every_row()))
    stays = Placement.objects.filter(animal=house.first).order_by("since")
    assert [(s.tub.label, s.since, s.until) for s in stays][1:] == [
        ("3C-02", house.since, clock.now()),
        ("3C-01", clock.now(), None),
    ]
    correction_undo(by=keeper, correction=correction)
    assert_undone(before, every_row(), correction)


def test_an_entry_that_was_right_stays(keeper: Person, house: House) -> None:
    weight = Weight.objects.get(mass_g=1425.0)
    plan = swap_plan(keeper, house, stays=(f"weight-{weight.pk}",))
    assert any("1,425 g" in note for note in plan.notes)
    swap(keeper, house, stays=(f"weight-{weight.pk}",))
    weight.refresh_from_db()
    assert weight.struck_at is None
    assert weight.animal == house.first


def test_a_preview_is_refused_once_something_came_in(keeper: Person, house: House) -> None:
    seen = swap_plan(keeper, house).version
    # a phone that was out of reach sends what it kept
    weight_record(by=keeper, animal=house.first, mass_g=1430.0, observed_at=clock.now() - timedelta(days=1))
    before = every_row()
    kept = {"by": keeper, "first": house.first, "second": house.second, "since": house.since, "why": "found by weight"}
    with pytest.raises(Stale, match="recorded since you read"):
        tubs_swap(**kept, seen=seen)  # type: ignore[arg-type]
    assert changed_rows(before, every_row()) == {}
    assert not Correction.objects.exists()
    fresh = swap_plan(keeper, house)
    assert fresh.version != seen
    assert any("1,430 g" in line.words for line in fresh.lines)
    tubs_swap(**kept, seen=fresh.version)  # type: ignore[arg-type]


def test_the_same_change_has_the_same_version_later(keeper: Person, house: House) -> None:
    seen = swap_plan(keeper, house).version
    with clock.at(clock.now() + timedelta(minutes=3)):
        assert swap_plan(keeper, house).version == seen


def test_undo_is_refused_by_naming_what_rests_on_it(keeper: Person, lead: Person, house: House) -> None:
    correction = swap(keeper, house)
    offer = MealOffer.objects.get(animal=house.first, struck_at__isnull=True, size="medium")
    meal_check(by=keeper, offer=offer, outcome="ate")
    before = every_row()
    with pytest.raises(Stale, match="meal check “ate”"):
        correction_undo(by=keeper, correction=correction)
    assert changed_rows(before, every_row()) == {}
    assert Correction.objects.get().undone_at is None
    fact_strike(by=keeper, fact=offer.checks.get(struck_at__isnull=True))
    correction_undo(by=keeper, correction=correction)


def test_entries_of_a_male_are_refused_by_name(keeper: Person, house: House) -> None:
    wish = swap_wish(by=keeper, first=house.first, second=house.male, since=house.since)
    with pytest.raises(Many) as error:
        preview(by=keeper, wish=wish)
    words = [one.message for one in error.value.errors]
    assert any("scan 9.0 mm" in one and "PR-0133 is recorded as male" in one for one in words)


@pytest.mark.parametrize("case", ["same", "species", "future", "nothing"])
def test_bad_swaps_name_their_field(keeper: Person, owner: Person, house: House, case: str) -> None:
    from tests.factories.animals import CORN, make_female

    first, second, since = house.first, house.second, house.since
    if case == "same":
        second = first
    if case == "species":
        second = make_female(of=CORN)
    if case == "future":
        since = clock.now() + timedelta(hours=1)
    if case == "nothing":
        first, second = make_female(), make_female()
    with pytest.raises(Invalid) as error:
        preview(by=keeper, wish=swap_wish(by=keeper, first=first, second=second, since=since))
    assert error.value.field == ("since" if case == "future" else "second")


def test_who_may(keeper: Person, packer: Person, lead: Person, house: House) -> None:
    with pytest.raises(NotAllowed):
        swap_plan(packer, house)
    correction = swap(keeper, house)
    with pytest.raises(NotAllowed):
        correction_undo(by=packer, correction=correction)
    correction_undo(by=lead, correction=correction)


def test_a_repeated_tap_swaps_once(keeper: Person, house: House) -> None:
    seen = swap_plan(keeper, house).version
    asked = {
        "by": keeper,
        "first": house.first,
        "second": house.second,
        "since": house.since,
        "why": "found by weight",
        "seen": seen,
        "request_key": "tap-1",
    }
    assert tubs_swap(**asked) == tubs_swap(**asked)  # type: ignore[arg-type]
    assert Correction.objects.count() == 1


def test_entries_on_the_wrong_animal(keeper: Person, lead: Person, owner: Person, house: House) -> None:
    keys = [f"weight-{Weight.objects.get(mass_g=1425.0).pk}", f"visit-{house.visit.pk}"]
    keys += [f"scan-{Scan.objects.get(mm=9.0).pk}", f"mealoffer-{MealOffer.objects.get(size='medium').pk}"]
    with pytest.raises(Invalid, match="no entry that stands for PR-0412"):
        facts_wish(by=lead, animal=house.first, to=house.second, keys=keys)
    with pytest.raises(NotAllowed):
        facts_wish(by=keeper, animal=house.first, to=house.second, keys=keys[:1])
    before = every_row()
    plan = preview(by=lead, wish=facts_wish(by=lead, animal=house.first, to=house.second, keys=keys[:3]))
    correction = facts_move(
        by=lead, animal=house.first, to=house.second, keys=keys[:3], why="read the wrong card", seen=plan.version
    )
    assert_rows_are(rows_of(correction), changed_rows(before, every_row()))
    assert not Weight.objects.filter(animal=house.first, mass_g=1425.0, struck_at__isnull=True).exists()
    correction_undo(by=lead, correction=correction)
    assert_undone(before, every_row(), correction)


def test_a_keeper_moves_an_own_entry_of_today(keeper: Person, house: House) -> None:
    weight = weight_record(by=keeper, animal=house.first, mass_g=1428.0, despite_hold=True)
    key = f"weight-{weight.pk}"
    plan = preview(by=keeper, wish=facts_wish(by=keeper, animal=house.first, to=house.second, keys=[key]))
    facts_move(by=keeper, animal=house.first, to=house.second, keys=[key], why="wrong tub", seen=plan.version)
    assert Weight.objects.get(mass_g=1428.0, struck_at__isnull=True).animal == house.second


def test_offers_and_papers_that_rest_on_them_are_listed(lead: Person, sales: Person, house: House) -> None:
    offer = make_offer(sales, code="PR-0901")
    key = f"weight-{Weight.objects.get(mass_g=1425.0).pk}"
    plan = preview(by=lead, wish=facts_wish(by=lead, animal=house.first, to=offer.animal, keys=[key]))
    assert [rest.words for rest in plan.resting.offers] == ["PR-0901 is on offer as “Pastel Clown”"]


def test_a_correction_keeps_its_rows(keeper: Person, house: House) -> None:
    correction = swap(keeper, house)
    assert CorrectionRow.objects.filter(correction=correction).count() == len(rows_of(correction)) > 30
    with pytest.raises(DomainError, match="Say how you know"):
        tubs_swap(by=keeper, first=house.first, second=house.second, since=house.since, why="", seen="x")
