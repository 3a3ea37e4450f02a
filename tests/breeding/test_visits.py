"""Visits: what happened is kept and flagged, two live ones are refused."""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.accounts.models import AuditRow, Person
from apps.animals.choices import HoldWord, Sex
from apps.animals.models import Animal
from apps.animals.services import hold_place
from apps.breeding.errors import NotAFemale, OutOfOrder, VisitOpen
from apps.breeding.models import Lock, SeasonForecast, Visit
from apps.breeding.selectors import brood_sire_shares, visit_barriers
from apps.breeding.services import lock_record, lock_strike, visit_begin, visit_end, visit_strike
from apps.care.services import weight_record
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, NotAllowed, WrongState
from tests.factories.breeding import breeder, breeding_rack, moment, python_of, season, stud, tubs_of, visited

pytestmark = pytest.mark.django_db


def test_a_visit_through_an_open_gate(keeper: Person, female: Animal, male: Animal) -> None:
    visit = visit_begin(by=keeper, female=female, male=male)
    assert visit.against_gate == ""
    assert visit.season == season(female)
    assert AuditRow.objects.get(act="visit.begin").by == keeper
    assert visit_end(by=keeper, visit=visit).ended_at == clock.now()
    with pytest.raises(WrongState, match="ended already"):
        visit_end(by=keeper, visit=visit)


def test_two_live_visits_are_refused(
    keeper: Person, owner: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    visit_begin(by=keeper, female=female, male=male)
    with pytest.raises(VisitOpen, match="PR-0118 is with PR-0412") as his:
        visit_begin(by=keeper, female=others[0], male=male)
    assert his.value.field == "male"
    second = stud(owner, "PR-0126")
    with pytest.raises(VisitOpen, match="PR-0412 is with PR-0118") as hers:
        visit_begin(by=keeper, female=female, male=second)
    assert hers.value.field == "female"
    assert Visit.objects.count() == 1


def test_a_past_visit_may_not_overlap_another(
    keeper: Person, female: Animal, others: list[Animal], male: Animal
) -> None:
    visited(keeper, female, male, days_ago=10, days=3)
    with pytest.raises(VisitOpen, match="was with PR-0412"):
        visit_begin(by=keeper, female=others[0], male=male, began_at=moment(9), ended_at=moment(8))
    assert visit_begin(by=keeper, female=others[0], male=male, began_at=moment(5), ended_at=moment(4))


def test_light_young_unweighed_and_recovering_females_are_flagged(owner: Person, keeper: Person, male: Animal) -> None:
    """Every rule of the gate, both sides; the visit is recorded all the same."""
    cases = {
        "PR-0601": ({"mass_g": 1499.0}, "the breeding weight is"),
        "PR-0602": ({"weighed_days_ago": 15}, "days old"),
        "PR-0603": ({"hatched_on": clock.today() - timedelta(days=1000)}, "the least age is"),
    }
    for code, (values, words) in cases.items():
        female = breeder(owner, code, **values)  # type: ignore[arg-type]
        reasons = " ".join(visit_barriers(female, male, clock.now()))
        assert words in reasons, code
        visit = visit_begin(by=keeper, female=female, male=male)
        assert words in visit.against_gate
        visit_end(by=keeper, visit=visit)
        visit_strike(by=keeper, visit=visit)
    unweighed = python_of(owner, "PR-0604")
    assert "No weight is recorded" in " ".join(visit_barriers(unweighed, male, clock.now()))
    for mass_g, days_ago in ((1500.0, 14),):
        fit = breeder(owner, "PR-0605", mass_g=mass_g, weighed_days_ago=days_ago)
        assert visit_barriers(fit, male, clock.now()) == []


def test_a_hold_on_either_is_flagged(lead: Person, keeper: Person, female: Animal, male: Animal) -> None:
    hold_place(by=lead, word=HoldWord.QUARANTINE, begins_at=moment(2), ends_at=None, reason="new arrival", animal=male)
    visit = visit_begin(by=keeper, female=female, male=male)
    assert "PR-0118" in visit.against_gate
    assert "new arrival" in visit.against_gate


def test_the_male_has_a_gate_of_his_own(owner: Person, keeper: Person, female: Animal, others: list[Animal]) -> None:
    light = stud(owner, "PR-0701", mass_g=499)
    assert "the least for a male is 500 g" in " ".join(visit_barriers(female, light, clock.now()))
    young = stud(owner, "PR-0702", hatched_on=clock.today() - timedelta(days=364))
    assert "the least age is 365 days" in " ".join(visit_barriers(female, young, clock.now()))
    tired = stud(owner, "PR-0703", mass_g=1000, weighed_days_ago=60)
    weight_record(by=owner, animal=tired, mass_g=900, observed_at=moment(2))
    assert "lost 10.0 %" in " ".join(visit_barriers(female, tired, clock.now()))
    kept = stud(owner, "PR-0704", mass_g=1000, weighed_days_ago=60)
    weight_record(by=owner, animal=kept, mass_g=901, observed_at=moment(2))
    assert visit_barriers(female, kept, clock.now()) == []
    resting = stud(owner, "PR-0705")
    visited(keeper, others[0], resting, days_ago=4, days=2)
    assert "he rests 3 days" in " ".join(visit_barriers(female, resting, clock.now()))
    assert visit_barriers(female, resting, clock.now() + timedelta(days=1, minutes=1)) == []


def test_health_groups_do_not_mix(owner: Person, female: Animal) -> None:
    elsewhere = stud(owner, "PR-0801", tub=tubs_of(breeding_rack(owner, "Rack Z", group="Isolation"))[0])
    assert "different health groups" in " ".join(visit_barriers(female, elsewhere, clock.now()))


def test_who_is_who(owner: Person, keeper: Person, female: Animal, others: list[Animal], male: Animal) -> None:
    with pytest.raises(Invalid, match="not as a male") as swapped:
        visit_begin(by=keeper, female=female, male=others[0])
    assert swapped.value.field == "male"
    second = stud(owner, "PR-0901")
    with pytest.raises(NotAFemale):
        visit_begin(by=keeper, female=second, male=male)
    unknown = python_of(owner, "PR-0902", sex=Sex.UNKNOWN)
    with pytest.raises(NotAFemale):
        visit_begin(by=keeper, female=unknown, male=male)


def test_times_make_sense(keeper: Person, female: Animal, male: Animal) -> None:
    with pytest.raises(Invalid) as early:
        visit_begin(by=keeper, female=female, male=male, began_at=clock.now() + timedelta(hours=1))
    assert early.value.field == "began_at"
    with pytest.raises(Invalid) as turned:
        visit_begin(by=keeper, female=female, male=male, began_at=moment(2), ended_at=moment(3))
    assert turned.value.field == "ended_at"
    visit = visit_begin(by=keeper, female=female, male=male, began_at=moment(2))
    lock_record(by=keeper, visit=visit, seen_at=moment(1))
    with pytest.raises(Invalid, match="last lock"):
        visit_end(by=keeper, visit=visit, ended_at=moment(1.5))


def test_a_lock_lies_within_its_visit(keeper: Person, female: Animal, male: Animal) -> None:
    visit = visit_begin(by=keeper, female=female, male=male, began_at=moment(2))
    with pytest.raises(Invalid) as before:
        lock_record(by=keeper, visit=visit, seen_at=moment(3))
    assert before.value.field == "seen_at"
    lock = lock_record(by=keeper, visit=visit, seen_at=moment(1))
    with pytest.raises(Duplicate):
        lock_record(by=keeper, visit=visit, seen_at=moment(1))
    lock_strike(by=keeper, lock=lock)
    with pytest.raises(WrongState):
        lock_strike(by=keeper, lock=lock)
    visit_strike(by=keeper, visit=visit)
    with pytest.raises(OutOfOrder):
        lock_record(by=keeper, visit=visit)


def test_a_lock_changes_her_forecast_at_once(keeper: Person, female: Animal, male: Animal) -> None:
    visit = visit_begin(by=keeper, female=female, male=male, began_at=moment(2))
    before = SeasonForecast.objects.get(season=season(female), is_current=True).input_hash
    lock_record(by=keeper, visit=visit)
    assert SeasonForecast.objects.get(season=season(female), is_current=True).input_hash != before


def test_striking_a_visit_takes_its_locks(keeper: Person, lead: Person, female: Animal, male: Animal) -> None:
    visit = visit_begin(by=keeper, female=female, male=male)
    lock_record(by=keeper, visit=visit)
    with clock.at(clock.now() + timedelta(days=1)):
        with pytest.raises(NotAllowed):
            visit_strike(by=keeper, visit=visit, reason="wrong animal")
        with pytest.raises(Invalid):
            visit_strike(by=lead, visit=visit)
        visit_strike(by=lead, visit=visit, reason="wrong animal")
    assert not Lock.objects.filter(struck_at__isnull=True).exists()
    assert visit_begin(by=keeper, female=female, male=male)


def test_shares_of_candidate_sires_go_by_locks(owner: Person, keeper: Person, female: Animal, male: Animal) -> None:
    second = stud(owner, "PR-0126")
    visited(keeper, female, male, days_ago=40)
    visited(keeper, female, male, days_ago=30)
    visited(keeper, female, second, days_ago=20)
    visited(keeper, female, second, days_ago=10, locked=False)
    shares = brood_sire_shares(season(female))
    assert [(s.male.code, s.visits, s.locks, round(s.share, 3)) for s in shares] == [
        ("PR-0118", 2, 2, 0.667),
        ("PR-0126", 2, 1, 0.333),
    ]
    assert sum(share.share for share in shares) == pytest.approx(1)


def test_replay_and_rights(keeper: Person, observer: Person, female: Animal, male: Animal) -> None:
    first = visit_begin(by=keeper, female=female, male=male, began_at=moment(1), request_key="v1")
    assert visit_begin(by=keeper, female=female, male=male, began_at=moment(1), request_key="v1") == first
    with pytest.raises(NotAllowed):
        visit_end(by=observer, visit=first)
