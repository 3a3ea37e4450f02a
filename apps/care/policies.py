"""What the state allows: whose facts may be written, when, and who may strike one out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.animals.choices import HandlingAct, HoldWord, Sex, Status
from apps.animals.models import Animal, Fact
from apps.animals.policies import forbids, hold_words
from apps.animals.selectors import holds_in_force
from apps.care.choices import MealOutcome, RoundState, StrikeReason, TaskState
from apps.care.models import BacklogReset, CareRound, KeptEntry, Task, TaskDue, Treatment
from apps.care.selectors.house_rules import care_rules
from apps.core import clock
from apps.core.errors import DomainError, Duplicate, Invalid, WrongState
from apps.core.formats import day_text

AHEAD = timedelta(minutes=5)  # clocks of phones differ a little
UNDO = timedelta(minutes=10)
_decided: ContextVar[bool] = ContextVar("decided_anyway", default=False)
GONE = frozenset({Status.SOLD, Status.GIVEN_AWAY, Status.DEAD})

# What may follow what: None is an offer nobody has checked.
FATES: dict[MealOutcome | None, frozenset[MealOutcome]] = {
    None: frozenset({MealOutcome.ATE, MealOutcome.LEFT, MealOutcome.REGURGITATED}),
    MealOutcome.ATE: frozenset({MealOutcome.REGURGITATED}),
    MealOutcome.LEFT: frozenset(),
    MealOutcome.REGURGITATED: frozenset(),
}


def check_moment(animal: Animal, moment: datetime, field: str = "observed_at") -> None:
    """Raises Invalid for a moment to come or before the animal hatched."""
    if moment > clock.now() + AHEAD:
        raise Invalid(
            f"{day_text(clock.local(moment), year=True)} {clock.local(moment):%H:%M} is still to come. "
            "Enter when it was seen, at the latest now.",
            field=field,
        )
    if animal.hatched_on is not None and clock.local(moment).date() < animal.hatched_on:
        raise Invalid(
            f"{animal.code} hatched on {animal.hatched_on.isoformat()}; this is before that. Correct the date.",
            field=field,
        )


def check_kept(animal: Animal, moment: datetime) -> None:
    """Raises WrongState when the animal had left by then. What was seen before it left may still be entered later."""
    if animal.status not in GONE or _decided.get():
        return
    day = clock.local(moment).date()
    since = animal.status_since
    if day < clock.today() and (since is None or day <= since):
        return
    when = f" since {since.isoformat()}" if since else ""
    raise WrongState(
        f"{animal.code} is {animal.status}{when}: nothing is recorded for it any more. Check the code.", field="animal"
    )


@contextmanager
def decided_anyway() -> Iterator[None]:
    """Somebody decided by name that an entry of an animal that has left is recorded all the same."""
    token = _decided.set(True)
    try:
        yield
    finally:
        _decided.reset(token)


def elsewhere_words(animal: Animal, *, place: str, moment: datetime) -> str:
    """Why an entry is kept for a decision instead of written: the animal has left, or stands in another tub than the
    device showed (``place`` is a tub's or a rack's ref, empty when the page named none). Empty when it may be written.
    """
    try:
        check_kept(animal, moment)
    except WrongState as gone:
        return gone.message
    tub = animal.tub
    if not place or (tub is not None and place in {tub.ref, tub.rack.ref}):
        return ""
    now = f"is in {tub.label} now" if tub is not None else "is in no tub now"
    return f"{animal.code} {now}, not where the device showed it. Was it this animal?"


def check_decide(person: Person, entry: KeptEntry) -> None:
    """An own kept entry is decided by whoever records care, another's by whoever may strike out others' entries."""
    check_may(person, Permission.CARE_RECORD if entry.sent.by_id == person.pk else Permission.STRIKE_OTHERS)
    if entry.decision:
        raise WrongState(f"This was decided already: {entry.decision}.")


def may_record(animal: Animal) -> bool:
    """Whether something seen now may be recorded for this animal."""
    return animal.status not in GONE


def check_female(animal: Animal) -> None:
    """Raises Invalid when a pre-lay shed is recorded for an animal known to be male."""
    if animal.sex == Sex.MALE:
        raise Invalid(f"{animal.code} is male: only a female has a pre-lay shed.", field="is_pre_lay")


def check_fate(current: MealOutcome | None, outcome: MealOutcome) -> None:
    """Raises Duplicate or WrongState when a meal that stands at ``current`` cannot become ``outcome``."""
    if outcome in FATES[current]:
        return
    if current == outcome:
        raise Duplicate(f"This meal was already checked: {current}.", field="outcome")
    if current == MealOutcome.LEFT and outcome == MealOutcome.REGURGITATED:
        raise WrongState(
            "It left this meal, so it cannot have regurgitated it. Strike out the check first if that was wrong.",
            field="outcome",
        )
    raise WrongState(
        f"This meal was already checked: {current}. Strike out that check first if it was wrong.", field="outcome"
    )


def needs_reason(person: Person, fact: Fact) -> bool:
    """An own entry of the last ten minutes is taken back without a reason; everything else needs one."""
    return fact.by_id != person.pk or clock.now() - fact.recorded_at > UNDO


def check_strike(person: Person, fact: Fact, reason: str) -> None:
    """Raises NotAllowed, WrongState or Invalid when this person may not strike out this entry (with this reason)."""
    if fact.struck_at is not None:
        raise WrongState("This entry is struck out already.")
    own_today = fact.by_id == person.pk and clock.day_of(fact.recorded_at) == clock.today()
    check_may(person, Permission.STRIKE_OWN if own_today else Permission.STRIKE_OTHERS)
    if isinstance(fact, Treatment):
        check_may(person, Permission.TREATMENT_SET)
    if reason and reason not in StrikeReason.values:
        raise Invalid(f"Choose a reason: {', '.join(StrikeReason.values)}.", field="reason")
    if not reason and needs_reason(person, fact):
        raise Invalid(
            f"Ten minutes have passed, so a reason is needed: {', '.join(StrikeReason.values)}.", field="reason"
        )


def may_strike(person: Person, fact: Fact) -> bool:
    """Whether the button to strike it out is shown."""
    try:
        check_strike(person, fact, StrikeReason.OTHER)
    except DomainError:
        return False
    return True


def holds_words(animals: list[Animal], act: HandlingAct) -> dict[int, str]:
    """Why the act is held now, by animal id: what ``check_handling`` says of each, for a rack in one go."""
    found: dict[int, str] = {}
    for pk, holds in holds_in_force(animals, clock.now()).items():
        blocks = [hold_words(hold) for hold in holds if forbids(HoldWord(hold.word), act)]
        if blocks:
            found[pk] = "; ".join(blocks)
    return found


ROUND_TRANSITIONS: dict[RoundState, frozenset[RoundState]] = {
    RoundState.OPEN: frozenset({RoundState.CLOSED}),
    # taken back within the minutes of an undo
    RoundState.CLOSED: frozenset({RoundState.OPEN}),
}
TASK_TRANSITIONS: dict[TaskState, frozenset[TaskState]] = {
    TaskState.OPEN: frozenset({TaskState.DONE, TaskState.SKIPPED}),
    TaskState.DONE: frozenset({TaskState.OPEN}),
    TaskState.SKIPPED: frozenset({TaskState.OPEN}),
}


def round_state(care_round: CareRound) -> RoundState:
    """Open until it is handed over."""
    return RoundState.OPEN if care_round.closed_at is None else RoundState.CLOSED


def check_round_open(care_round: CareRound) -> None:
    """Raises WrongState when the round was handed over already."""
    if RoundState.CLOSED not in ROUND_TRANSITIONS[round_state(care_round)]:
        by = care_round.closed_by.name if care_round.closed_by else "somebody"
        raise WrongState(f"This round was handed over by {by} already. Open the room's next one.", field="round")


def check_task_time(time: TaskDue, to: TaskState) -> None:
    """Raises WrongState when this time of the task cannot become ``to``."""
    state = TaskState(time.state)
    if to in TASK_TRANSITIONS[state]:
        return
    by = time.closed_by.name if time.closed_by else "somebody"
    raise WrongState(f"“{time.task.words}” is {state} already, by {by}.", field="task")


def check_live(task: Task) -> None:
    """Raises WrongState for a task that was stopped."""
    if task.stopped_at is not None:
        raise WrongState(f"“{task.words}” was stopped. Add it again if it is to go on.", field="task")


def undo_until(moment: datetime) -> datetime:
    """Until when an act of that moment is taken back without a reason."""
    return moment + timedelta(minutes=care_rules()["due.undo_minutes"])


def check_undo(moment: datetime | None, what: str) -> None:
    """Raises WrongState when the minutes in which it is taken back are over."""
    if moment is None:
        raise WrongState(f"{what} is not there to be taken back.")
    if clock.now() > undo_until(moment):
        minutes = care_rules()["due.undo_minutes"]
        raise WrongState(f"{what} is taken back within {minutes:g} minutes; these are over. What is due can be redone.")


def may_undo(moment: datetime | None) -> bool:
    """Whether the button to take it back is shown."""
    return moment is not None and clock.now() <= undo_until(moment)


def check_reset_stands(reset: BacklogReset) -> None:
    """Raises WrongState when it was taken back already."""
    if reset.undone_at is not None:
        raise WrongState("This was taken back already.")
