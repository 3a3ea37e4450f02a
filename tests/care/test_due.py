"""What is due: counted from facts and intervals; the house's count equals the animals' own; backlog, sheet, looks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack, suppress
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.exceptions import ObjectDoesNotExist
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.services import animal_move, animal_status_set
from apps.care.choices import DueKind, MealOutcome, TaskState
from apps.care.models import (
    BacklogReset,
    CareCount,
    CareMark,
    CareSkip,
    CareState,
    CareTally,
    LastLook,
    MealCheck,
    TaskDue,
    Weight,
)
from apps.care.pages.rounds import due_lines
from apps.care.selectors.due import FOREVER, LastFacts, due_days, due_of
from apps.care.selectors.due_house import house_due, offers_counted
from apps.care.selectors.due_tally import RackDue, count_states, tallies_that_hold
from apps.care.selectors.feeding import feeding_lines
from apps.care.selectors.rooms_due import rooms_due
from apps.care.services import (
    SeasonWordItem,
    SheetLine,
    backlog_reset,
    backlog_undo,
    due_count,
    fact_strike,
    look_seen,
    mark_record,
    meal_check,
    round_open,
    season_words_write,
    sheet_record,
    skip_record,
    task_add,
    treatment_begin,
)
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many, WrongState
from apps.places.models import Rack, Tub
from tests.factories.care import fed, offered, weighed

ClientAs = Callable[[Person], Client]
ApiAs = Callable[[Person], APIClient]
NOON = datetime(2027, 4, 6, 12, tzinfo=UTC)
INTERVALS = {DueKind.OFFER: 14.0, DueKind.WEIGH: 30.0, DueKind.WATER: 3.0}
days_ago = st.one_of(st.none(), st.integers(0, 400))


def facts(**moments: datetime | None) -> LastFacts:
    common = {"animal_id": 1, "species_id": 1, "rack_id": 1, "room_id": 1, "hatched_on": None}
    return LastFacts(**common, registered_at=NOON - timedelta(days=500), **moments)  # type: ignore[arg-type]


def ago(days: int | None) -> datetime | None:
    return None if days is None else NOON - timedelta(days=days)


@pytest.mark.django_db
@given(offer=days_ago, weigh=days_ago, water=days_ago, held=st.integers(-5, 30), reset=days_ago, skip=st.booleans())
def test_the_days_keep_their_promises(
    offer: int | None, weigh: int | None, water: int | None, held: int, reset: int | None, skip: bool
) -> None:
    """Nothing falls due before its interval or its hold; a reset makes nothing late; a skip is quiet today."""
    with clock.at(NOON):
        today = clock.today()
        reset_on = None if reset is None else today - timedelta(days=reset)
        days = due_days(
            facts(offered_at=ago(offer), weighed_at=ago(weigh), water_at=ago(water)),
            INTERVALS,
            today=today,
            held_until={DueKind.OFFER: today + timedelta(days=held)},
            skipped=[DueKind.WATER.value] if skip else [],
            reset_on=reset_on,
        )
    assert set(days) == set(INTERVALS)
    assert days[DueKind.OFFER] >= today + timedelta(days=held)
    for kind, since in ((DueKind.OFFER, offer), (DueKind.WEIGH, weigh), (DueKind.WATER, water)):
        if since is not None:
            assert days[kind] >= today - timedelta(days=since) + timedelta(days=INTERVALS[kind])
        if reset_on is not None:
            assert days[kind] >= reset_on
    assert not skip or days[DueKind.WATER] > today


@pytest.mark.django_db
def test_an_unchecked_meal_asks_for_its_check_and_not_for_another() -> None:
    with clock.at(NOON):
        days = due_days(
            facts(unchecked_at=ago(40), offered_at=ago(40)),
            INTERVALS,
            today=clock.today(),
            held_until={},
            reset_on=clock.today(),
        )
    assert DueKind.OFFER not in days
    assert days[DueKind.CHECK] == date(2027, 2, 25)  # no reset reaches it


@pytest.mark.django_db
def test_an_open_ended_hold_takes_the_work_away() -> None:
    with clock.at(NOON):
        days = due_days(facts(), INTERVALS, today=clock.today(), held_until={DueKind.OFFER: FOREVER})
    assert DueKind.OFFER not in days


def by_hand() -> Counter[DueKind]:
    """Each kind counted animal by animal, from the facts."""
    return Counter(kind for one in due_of(Animal.objects.all()).values() for kind in one.due(clock.today()))


def counted() -> Counter[DueKind]:
    """Each kind as the house counts it."""
    found: Counter[DueKind] = Counter()
    for rack in house_due().racks.values():
        found.update(rack.due)
    return +found


@pytest.mark.django_db
def test_the_houses_count_is_the_animals_own_at_every_step(
    keeper: Person, owner: Person, rack: Rack, snakes: list[Animal]
) -> None:
    """Before any count, after it, and after each act since: strikes, skips, moves, a meal and its check."""

    def agree() -> None:
        assert counted() == by_hand()

    agree()
    assert due_count() == "counted all 4 animals"
    agree()
    weight = weighed(keeper, snakes[0], 1700)
    agree()
    assert due_count() == "counted 1 animals"
    fact_strike(by=keeper, fact=weight)
    agree()
    offer = offered(keeper, snakes[1], hours_ago=15)
    agree()
    meal_check(by=keeper, offer=offer, outcome="left")
    skip_record(by=keeper, animal=snakes[2], reason="no time")
    agree()
    due_count()
    animal_move(by=owner, animal=snakes[3], tub=rack.tubs.get(label="3B-06"))
    mark_record(by=keeper, animal=snakes[3], kind="water")
    agree()
    for _ in range(3):
        due_count()
        agree()
    with clock.at(clock.now() + timedelta(days=40)):
        agree()
    assert (CareState.objects.count(), CareCount.objects.count()) == (4, 1)


@pytest.mark.django_db
def test_the_house_is_counted_in_a_fixed_number_of_queries(
    keeper: Person, rack: Rack, snakes: list[Animal], django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    due_count()
    for snake in snakes:
        offered(keeper, snake, hours_ago=2)
    with django_assert_max_num_queries(42):
        rooms_due()


@pytest.mark.django_db
def test_a_backlog_is_counted_from_today_once_and_taken_back(
    client_as: ClientAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    task_add(by=keeper, kind="other", words="Floor", room=rack.room, every_days=7)
    offered(keeper, snakes[0])
    before = by_hand()
    with clock.at(clock.now() + timedelta(days=12)):
        late = rooms_due().rooms[0].late_count
        assert late > 8
        client = client_as(keeper)
        words = client.get("/care/backlog/").content.decode()
        assert "Never counted anew" in words
        assert client.post("/care/backlog/", {"reason": ""}).status_code == 400
        assert client.post("/care/backlog/", {"reason": "holiday"}).status_code == 302
        reset = BacklogReset.objects.get()
        skips = CareSkip.objects.filter(reset=reset)
        assert skips.count() == sum(reset.summary["kinds"].values())
        assert {skip.due_on for skip in skips} <= {date(2027, 4, 6), date(2027, 4, 7), date(2027, 4, 8)}
        room = rooms_due().rooms[0]
        assert +room.late == Counter({DueKind.CHECK: 1})  # the unchecked meal stays late
        assert sum(room.due.values()) >= sum(before.values()) - 1  # everything is due, nothing hidden
        assert [time.due_on for time in room.tasks] == [clock.today()]
        with pytest.raises(WrongState, match="Nothing is late"):
            backlog_reset(by=keeper, reason="again")
        assert client.post(f"/care/backlog/{reset.ref}/undo/").status_code == 302
        assert rooms_due().rooms[0].late_count == late
        assert TaskDue.objects.get(state=TaskState.OPEN).due_on == date(2027, 4, 6)
        with pytest.raises(WrongState, match="taken back already"):
            backlog_undo(by=keeper, reset=reset)


@pytest.mark.django_db
def test_a_backlog_by_program_and_its_ten_minutes(
    api_as: ApiAs, keeper: Person, observer: Person, rack: Rack, snakes: list[Animal]
) -> None:
    with clock.at(clock.now() + timedelta(days=12)):
        assert api_as(observer).post("/api/v1/backlogs/", {"reason": "x"}, format="json").status_code == 403
        made = api_as(keeper).post("/api/v1/backlogs/", {"reason": "flu", "room": rack.room.ref}, format="json").json()
        assert made["summary"]["animals"] == 4
        undone = api_as(keeper).post(f"/api/v1/backlogs/{made['ref']}/undo/", format="json").json()
        assert undone["undone_by"] == "Keeper"
        second = backlog_reset(by=keeper, reason="flu")
    with clock.at(clock.now() + timedelta(days=12, minutes=11)), pytest.raises(WrongState, match="within 10 minutes"):
        backlog_undo(by=keeper, reset=second)


@pytest.mark.django_db
def test_a_sheet_is_written_whole_or_not_at_all(keeper: Person, rack: Rack, snakes: list[Animal]) -> None:
    offered(keeper, snakes[1], hours_ago=4)
    lines = [
        SheetLine(snakes[0], meal="o", mass_g=1712.5, marks="wd", shape="f"),
        SheetLine(snakes[1], meal="A", shed="c"),
        SheetLine(snakes[2], mass_g=0),
        SheetLine(snakes[3]),
    ]
    food = {"prey": "rat", "size": "small", "prey_g": 60.0, "count": 1, "presentation": "thawed"}
    with pytest.raises(Many) as caught:
        sheet_record(by=keeper, rack=rack, lines=lines, food=food)
    assert "PR-0003" in caught.value.message
    assert Weight.objects.count() == 0
    lines[2] = SheetLine(snakes[2], marks="c")
    assert len(sheet_record(by=keeper, rack=rack, lines=lines, food=food)) == 8
    assert MealCheck.objects.get().outcome == "ate"
    for bad in (SheetLine(snakes[3], meal="x"), SheetLine(snakes[3], meal="l"), SheetLine(snakes[3], marks="wz")):
        with pytest.raises(Many):
            sheet_record(by=keeper, rack=rack, lines=[bad])
    with pytest.raises(Invalid, match="Nothing was typed"):
        sheet_record(by=keeper, rack=rack, lines=[SheetLine(snakes[0])])


@pytest.mark.django_db
def test_a_sheet_is_typed_with_the_keyboard(
    client_as: ClientAs, keeper: Person, rack: Rack, snakes: list[Animal]
) -> None:
    client = client_as(keeper)
    url = f"/rounds/{round_open(by=keeper, room=rack.room).ref}/racks/{rack.ref}/entry/"
    assert "PR-0004" in client.get(url).content.decode()
    wrong = client.post(url, {f"{snakes[0].ref}-mass_g": "9000", f"{snakes[1].ref}-marks": "w", "count": "1"})
    assert wrong.status_code == 400
    words = wrong.content.decode()
    assert 'value="9000"' in words
    assert "keep as read, marked doubtful" in words
    kept = {f"{snakes[0].ref}-mass_g": "9000", f"{snakes[0].ref}-doubtful": "on", f"{snakes[1].ref}-marks": "w"}
    assert client.post(url, {**kept, "count": "1"}).status_code == 302
    assert Weight.objects.get().doubtful
    odd = client.post(url, {f"{snakes[0].ref}-mass_g": "heavy", "count": "1"})
    assert "number of grams" in odd.content.decode()


@pytest.mark.django_db
def test_what_changed_moves_on_only_when_it_is_seen(
    client_as: ClientAs, api_as: ApiAs, keeper: Person, lead: Person, snakes: list[Animal]
) -> None:
    client = client_as(lead)
    with clock.at(clock.now() + timedelta(minutes=1)):
        mark_record(by=keeper, animal=snakes[0], kind="water")
        mark_record(by=lead, animal=snakes[0], kind="cleaned")
    with clock.at(clock.now() + timedelta(minutes=2)):
        for _ in range(2):
            words = client.get("/").content.decode()
            assert "1 mark of water, cleaning or droppings" in words  # one's own are not news
        changed = api_as(lead).get("/api/v1/today/changed/").json()
        client.post("/today/seen/", {"until": changed["until"]})
        assert "mark of water" not in client.get("/").content.decode()
        assert client.post("/today/seen/", {"until": "yesterday"}).status_code == 400
    with clock.at(clock.now() + timedelta(minutes=3)):
        mark_record(by=keeper, animal=snakes[1], kind="water")
    with clock.at(clock.now() + timedelta(minutes=4)):
        assert [line["by"] for line in api_as(lead).get("/api/v1/today/changed/").json()["lines"]] == ["Keeper"]
        look_seen(by=lead, until=clock.now() - timedelta(minutes=30))
        assert LastLook.objects.get().seen_at > clock.now() - timedelta(minutes=3)  # it never moves back
        with pytest.raises(Invalid, match="still to come"):
            look_seen(by=lead, until=clock.now() + timedelta(minutes=1))
        assert api_as(lead).post("/api/v1/today/seen/", {}, format="json").status_code == 200
        assert api_as(lead).get("/api/v1/today/").json()[0]["room"] == "Room 3"


@pytest.mark.django_db
def test_food_is_due_by_the_feeding_plan(keeper: Person, snakes: list[Animal]) -> None:
    """The round says what the plan says: a meal that was left comes again sooner, a gravid female is offered none."""
    ate, left, gravid, never = snakes
    for animal, outcome in ((ate, "ate"), (left, "left"), (gravid, "ate")):
        fed(keeper, animal, days_ago=9, outcome=MealOutcome(outcome))
    with clock.at(clock.now() + timedelta(days=8)):
        season_words_write([SeasonWordItem(gravid.pk, "gravid", fast_expected=True, scan_on=None)])
        found = due_of(Animal.objects.all())
        plans = {line.animal.pk: line.plan for line in feeding_lines(Animal.objects.select_related("species"))}
        for animal in (ate, left):
            plan = plans[animal.pk]
            assert plan is not None
            assert found[animal.pk].days[DueKind.OFFER] == plan.due_on
            assert found[animal.pk].by_plan
        assert found[left.pk].days[DueKind.OFFER] < found[ate.pk].days[DueKind.OFFER]
        assert DueKind.OFFER not in found[gravid.pk].days
        # no meal on record: wanted since it came, so it is late and not new every day
        assert found[never.pk].days[DueKind.OFFER] == clock.day_of(found[never.pk].facts.registered_at)
        assert found[never.pk].is_late(DueKind.OFFER, clock.now())
        ((_, _, why),) = [line for line in due_lines(found[left.pk], frozenset()) if line[0] == DueKind.OFFER.value]
        assert why.endswith("by the feeding plan")


def plain() -> dict[int | None, list[int]]:
    """Every rack's numbers counted animal by animal from the facts, without any kept row."""
    found: dict[int | None, RackDue] = {}
    for one in due_of(Animal.objects.all()).values():
        found.setdefault(one.facts.rack_id, RackDue.empty()).add(one)
    return {rack: one.numbers for rack, one in found.items()}


def shown() -> dict[int | None, list[int]]:
    """The same as the house is read."""
    return {rack: one.numbers for rack, one in house_due().racks.items() if one.living}


ACTS = ("water", "clean", "weigh", "offer", "check", "strike", "skip", "move", "treat", "die", "hours", "count", "all")


@pytest.mark.django_db
@settings(
    max_examples=5,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(steps=st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 3)), min_size=8, max_size=8))
def test_stored_numbers_equal_the_plain_count_after_any_acts(
    owner: Person, keeper: Person, rack: Rack, snakes: list[Animal], steps: list[tuple[str, int]]
) -> None:
    """Numbers that claim to hold are those of the states; what is shown is what the facts say. Fails on any drift."""
    with transaction.atomic(), ExitStack() as later:
        due_count(everybody=True)
        for act, which in steps:
            if act == "hours":
                later.enter_context(clock.at(clock.now() + timedelta(hours=which * 5 + 1)))
            elif act in {"count", "all"}:
                due_count(everybody=act == "all")
            else:
                with suppress(DomainError, ObjectDoesNotExist):
                    _act(act, snakes[which], owner, keeper)
            states = {key: one.rack.numbers for key, one in count_states(CareState.objects.all()).items()}
            held = dict(tallies_that_hold().values_list("rack_id", "numbers"))
            assert held.items() <= states.items()
            assert states.keys() <= set(CareTally.objects.values_list("rack_id", flat=True))
            if clock.day_of(CareCount.objects.get().counted_at) != clock.today():
                continue  # a day that has just begun is counted by the next run, within a minute
            assert shown() == plain()
            everybody = Animal.objects.all()
            kept = due_of(everybody, offers_counted(everybody))  # a round makes no plan for whoever was not touched
            assert {pk: one.days for pk, one in kept.items()} == {pk: one.days for pk, one in due_of(everybody).items()}
        transaction.set_rollback(True)


def _act(act: str, snake: Animal, owner: Person, keeper: Person) -> None:
    """One act of the keeper's day on one animal; refused where its state forbids it."""
    if act in {"water", "clean"}:
        mark_record(by=keeper, animal=snake, kind="water" if act == "water" else "cleaned")
    elif act == "weigh":
        weighed(keeper, snake, 1500)
    elif act == "offer":
        offered(keeper, snake, hours_ago=1)
    elif act == "check":
        meal_check(by=keeper, offer=snake.via_care_mealoffers.latest("pk"), outcome="left")
    elif act == "strike":
        fact_strike(by=keeper, fact=CareMark.objects.filter(animal=snake, struck_at__isnull=True).latest("pk"))
    elif act == "skip":
        skip_record(by=keeper, animal=snake, reason="no time")
    elif act == "move":
        animal_move(by=owner, animal=snake, tub=Tub.objects.get(label="3B-06"))
    elif act == "treat":
        first = clock.now() + timedelta(hours=2)
        treatment_begin(
            by=keeper,
            animal=snake,
            veterinarian="Dr V",
            medicine="M",
            dose="as said",
            first_due_at=first,
            every_h=12,
            doses=3,
        )
    elif act == "die":
        animal_status_set(by=owner, animal=snake, status=Status.DEAD, on=clock.today())


@pytest.mark.django_db
def test_numbers_that_were_spoilt_are_seen_and_made_anew(keeper: Person, rack: Rack, snakes: list[Animal]) -> None:
    """A rack that counts another number of animals is counted by the next run; the daily count makes all anew."""
    due_count()
    right = shown()
    CareTally.objects.update(numbers=[9, *[0] * 20])
    assert shown() != right
    due_count()
    assert shown() == right
    CareTally.objects.update(numbers=[4, *[0] * 20])
    assert shown() != right
    due_count(everybody=True)
    assert shown() == right
