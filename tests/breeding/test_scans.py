"""Readings: kept as read, questioned, never proposed; out of order refused."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from uuid import uuid4

import pytest

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord, Status
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal
from apps.animals.services import animal_status_set, hold_place
from apps.breeding.choices import NoReading, SeasonState
from apps.breeding.errors import AlreadyRead, ImpossibleReading, NotAFemale, NotHere
from apps.breeding.models import Scan, Season, SeasonForecast
from apps.breeding.services import (
    ScanItem,
    scan_record,
    scan_round_close,
    scan_round_open,
    scan_skip,
    scan_strike,
    scan_unskip,
    scans_record,
)
from apps.care.services import meal_offer
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, RequestKeyReused, WrongState
from apps.jobs.models import Delivery
from apps.places.models import Rack
from tests.factories.breeding import moment, round_of, scanned, season

pytestmark = pytest.mark.django_db


def test_a_reading_opens_her_season_and_gives_advice(keeper: Person, female: Animal) -> None:
    scan = scan_record(by=keeper, female=female, mm=12.4)
    found = season(female)
    assert (found.year, found.name, found.state) == (2026, "2026/27", SeasonState.OPEN)
    assert SeasonForecast.objects.get(season=found).is_current
    row = AuditRow.objects.get(act="scan.record")
    assert (row.by, row.subject_ref, row.detail["mm"]) == (keeper, scan.ref, 12.4)


@pytest.mark.parametrize("mm", [98, 1800, 1.2])
def test_an_impossible_reading_is_refused_without_a_proposal(keeper: Person, female: Animal, mm: float) -> None:
    with pytest.raises(ImpossibleReading) as refused:
        scan_record(by=keeper, female=female, mm=mm)
    assert refused.value.field == "mm"
    words = refused.value.message
    assert "Type it again, scan again, or keep it as read, marked doubtful." in words
    # no other diameter than the one typed and the ends of the possible range is ever named
    assert {w for w in words.replace("(", " ").split() if w.replace(".", "").isdigit()} == {f"{mm:g}", "2", "60"}
    assert not Scan.objects.exists()
    assert not Season.objects.exists(), "nothing half-written"


def test_kept_as_read_it_is_doubtful_and_out_of_the_forecast(keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    before = SeasonForecast.objects.get(season=season(female), is_current=True)
    scan = scan_record(by=keeper, female=female, mm=98, doubtful=True)
    after = SeasonForecast.objects.get(season=season(female), is_current=True)
    assert scan.doubtful
    assert scan.mm == 98
    assert after.mm_now == pytest.approx(before.mm_now)
    assert after.act == "scan_again"


@pytest.mark.parametrize("mm", [0, -3])
def test_no_diameter_is_refused_even_as_doubtful(keeper: Person, female: Animal, mm: float) -> None:
    with pytest.raises(ImpossibleReading):
        scan_record(by=keeper, female=female, mm=mm, doubtful=True)


def test_a_male_has_no_follicles(keeper: Person, male: Animal) -> None:
    with pytest.raises(NotAFemale, match="recorded as male"):
        scan_record(by=keeper, female=male, mm=12)


def test_a_dead_female_is_not_scanned_but_her_past_may_be_entered(owner: Person, female: Animal) -> None:
    animal_status_set(by=owner, animal=female, status=Status.DEAD, on=clock.today() - timedelta(days=2))
    female.refresh_from_db()
    with pytest.raises(NotHere, match="is dead since"):
        scan_record(by=owner, female=female, mm=12, despite_hold=True)
    assert scan_record(by=owner, female=female, mm=12, observed_at=moment(5)).mm == 12


def test_the_future_and_the_egg_are_refused(keeper: Person, female: Animal) -> None:
    with pytest.raises(Invalid, match="still to come") as early:
        scan_record(by=keeper, female=female, mm=12, observed_at=clock.now() + timedelta(minutes=6))
    assert early.value.field == "observed_at"
    assert scan_record(by=keeper, female=female, mm=12, observed_at=clock.now() + timedelta(minutes=4))
    with pytest.raises(Invalid, match="hatched on"):
        scan_record(by=keeper, female=female, mm=12, observed_at=clock.noon(date(2020, 6, 30)))


def test_a_count_beyond_the_species_is_asked_about(keeper: Person, female: Animal) -> None:
    with pytest.raises(Invalid) as refused:
        scan_record(by=keeper, female=female, mm=22, count=40)
    assert refused.value.field == "count"
    with pytest.raises(Invalid):
        scan_record(by=keeper, female=female, mm=22, count=-1)
    with pytest.raises(Invalid) as side:
        scan_record(by=keeper, female=female, mm=22, side="top")
    assert side.value.field == "side"
    assert scan_record(by=keeper, female=female, mm=22, count=9, side="left").count == 9


def test_a_fed_female_is_not_about_to_be_scanned(keeper: Person, female: Animal) -> None:
    """No scan within 48 h of a meal; an unchecked offer counts as eaten. A scan that happened is kept."""
    meal_offer(by=keeper, animal=female, prey="rat", prey_g=90, observed_at=moment(1))
    with pytest.raises(HandlingHeld):
        scan_record(by=keeper, female=female, mm=20)
    kept = scan_record(by=keeper, female=female, mm=20, despite_hold=True)
    assert AuditRow.objects.get(act="scan.record", subject_ref=kept.ref).detail["against_hold"]


def test_a_treated_female_is_held(lead: Person, keeper: Person, female: Animal) -> None:
    hold_place(by=lead, word=HoldWord.TREATMENT, begins_at=moment(2), ends_at=None, reason="antibiotics", animal=female)
    with pytest.raises(HandlingHeld):
        scan_record(by=keeper, female=female, mm=20)


def test_twice_in_one_round_is_refused(keeper: Person, female: Animal, others: list[Animal]) -> None:
    scan_round = round_of(keeper, [female, *others])
    first = scan_record(by=keeper, female=female, mm=20, round=scan_round)
    with pytest.raises(AlreadyRead):
        scan_record(by=keeper, female=female, mm=21, round=scan_round)
    scan_strike(by=keeper, scan=first)
    assert scan_record(by=keeper, female=female, mm=21, round=scan_round).mm == 21
    assert Scan.objects.filter(round=scan_round, struck_at__isnull=True).count() == 1


def test_a_closed_round_takes_nothing(keeper: Person, female: Animal) -> None:
    scan_round = round_of(keeper, [female])
    scan_round_close(by=keeper, round=scan_round)
    scan_round.refresh_from_db()
    with pytest.raises(WrongState, match="closed"):
        scan_record(by=keeper, female=female, mm=20, round=scan_round)
    with pytest.raises(WrongState, match="closed"):
        scan_skip(by=keeper, round=scan_round, female=female, reason=NoReading.HOLD)
    with pytest.raises(WrongState, match="closed already"):
        scan_round_close(by=keeper, round=scan_round)


def test_the_round_lists_breeding_females_in_walking_order(
    keeper: Person, female: Animal, others: list[Animal], male: Animal, rack: Rack
) -> None:
    scan_round = scan_round_open(by=keeper, rooms=[rack.room])
    assert [line.female for line in scan_round.lines.order_by("order")] == [female, *others]
    with pytest.raises(WrongState, match="is open in one of these rooms") as busy:
        scan_round_open(by=keeper, rooms=[rack.room])
    assert busy.value.field == "rooms"


def test_a_round_needs_females(keeper: Person, rack: Rack, male: Animal) -> None:
    with pytest.raises(Invalid) as empty:
        scan_round_open(by=keeper, rooms=[rack.room])
    assert empty.value.field == "rooms"
    with pytest.raises(NotAFemale):
        scan_round_open(by=keeper, females=[male])


def test_no_reading_has_a_reason_and_can_be_taken_back(keeper: Person, female: Animal, others: list[Animal]) -> None:
    scan_round = round_of(keeper, [female])
    with pytest.raises(Invalid) as vague:
        scan_skip(by=keeper, round=scan_round, female=female, reason=NoReading.OTHER)
    assert vague.value.field == "note"
    line = scan_skip(by=keeper, round=scan_round, female=female, reason=NoReading.ABSENT)
    assert line.no_reading == NoReading.ABSENT
    assert scan_unskip(by=keeper, round=scan_round, female=female).no_reading == ""
    scan_skip(by=keeper, round=scan_round, female=female, reason=NoReading.HOLD)
    scan_record(by=keeper, female=female, mm=20, round=scan_round)
    line.refresh_from_db()
    assert line.no_reading == "", "a reading replaces the reason"
    with pytest.raises(AlreadyRead):
        scan_skip(by=keeper, round=scan_round, female=female, reason=NoReading.HOLD)
    scan_record(by=keeper, female=others[0], mm=20, round=scan_round)
    assert scan_round.lines.count() == 2, "one found on the way is added to the list"


def test_undo_is_ten_minutes_then_a_reason_then_a_right(
    keeper: Person, lead: Person, female: Animal, frozen: datetime
) -> None:
    scan = scan_record(by=keeper, female=female, mm=20)
    with clock.at(frozen + timedelta(minutes=11)):
        with pytest.raises(Invalid, match="why") as silent:
            scan_strike(by=keeper, scan=scan)
        assert silent.value.field == "reason"
    with clock.at(frozen + timedelta(days=1)):
        with pytest.raises(NotAllowed):
            scan_strike(by=keeper, scan=scan, reason="wrong value")
        scan_strike(by=lead, scan=scan, reason="wrong value")
    with pytest.raises(WrongState, match="already"):
        scan_strike(by=lead, scan=scan, reason="wrong value")
    scan.refresh_from_db()
    assert (scan.struck_by, scan.struck_reason) == (lead, "wrong value")


def test_striking_a_reading_takes_it_out_of_the_forecast(keeper: Person, female: Animal) -> None:
    scanned(keeper, female)
    before = SeasonForecast.objects.get(season=season(female), is_current=True)
    scan = scan_record(by=keeper, female=female, mm=38)
    changed = SeasonForecast.objects.get(season=season(female), is_current=True)
    assert changed.input_hash != before.input_hash
    scan_strike(by=keeper, scan=scan)
    again = SeasonForecast.objects.get(season=season(female), is_current=True)
    assert (again.input_hash, again.stage) == (before.input_hash, before.stage)


def test_a_request_key_seen_before_gives_the_first_result(keeper: Person, female: Animal) -> None:
    first = scan_record(by=keeper, female=female, mm=20, request_key="k1")
    assert scan_record(by=keeper, female=female, mm=20, request_key="k1") == first
    with pytest.raises(RequestKeyReused):
        scan_record(by=keeper, female=female, mm=21, request_key="k1")
    entry = uuid4()
    sent = scan_record(by=keeper, female=female, mm=20, client_id=entry)
    assert scan_record(by=keeper, female=female, mm=20, client_id=entry) == sent
    assert Scan.objects.count() == 2


def test_observers_and_packers_do_not_scan(observer: Person, packer: Person, female: Animal) -> None:
    for person in (observer, packer):
        with pytest.raises(NotAllowed):
            scan_record(by=person, female=female, mm=20)


def test_the_bulk_form_writes_the_same_rows_and_leaves_advice_to_the_outbox(
    keeper: Person, female: Animal, others: list[Animal]
) -> None:
    items = [ScanItem(female=one, mm=12.5, observed_at=moment(20)) for one in (female, *others)]
    scans = scans_record(by=keeper, items=items)
    assert [scan.mm for scan in scans] == [12.5] * 4
    assert not SeasonForecast.objects.exists()
    row = Delivery.objects.get(event="breeding.seasons-touched")
    assert len(row.payload["season_refs"]) == 4
    with pytest.raises(ImpossibleReading):
        scans_record(by=keeper, items=[ScanItem(female=female, mm=98, observed_at=moment(3))])
