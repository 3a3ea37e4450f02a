"""What a season, a cycle, a round and a visit allow: each rule a raising check, most with a boolean twin."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may
from apps.animals.choices import Sex, Status
from apps.animals.models import Animal
from apps.breeding.choices import CycleStep, SeasonState
from apps.breeding.errors import ImpossibleReading, NotAFemale, NotHere, OutOfOrder
from apps.breeding.models import Cycle, ScanRound
from apps.core import clock
from apps.core.errors import Invalid, NotAllowed, WrongState
from apps.core.formats import day_text

# Clocks of phones run a little ahead; more than this is a typing slip.
FUTURE_TOLERANCE = timedelta(minutes=5)
# Own entries are taken back without a reason within this time (house rule of the product).
UNDO_WITHIN = timedelta(minutes=10)

SEASON_TRANSITIONS: dict[SeasonState, frozenset[SeasonState]] = {
    SeasonState.OPEN: frozenset({SeasonState.RESTED, SeasonState.LAID, SeasonState.REGRESSED, SeasonState.CLOSED}),
    SeasonState.RESTED: frozenset({SeasonState.OPEN, SeasonState.LAID, SeasonState.CLOSED}),
    SeasonState.LAID: frozenset({SeasonState.OPEN, SeasonState.CLOSED}),
    SeasonState.REGRESSED: frozenset({SeasonState.OPEN, SeasonState.RESTED, SeasonState.CLOSED}),
    SeasonState.CLOSED: frozenset({SeasonState.LAID}),
}

# She may be found with eggs though nobody saw her ovulate or shed: what happened is always recorded.
CYCLE_TRANSITIONS: dict[CycleStep, frozenset[CycleStep]] = {
    CycleStep.GROWING: frozenset({CycleStep.OVULATED, CycleStep.SHED, CycleStep.LAID, CycleStep.REGRESSED}),
    CycleStep.OVULATED: frozenset({CycleStep.SHED, CycleStep.LAID}),
    CycleStep.SHED: frozenset({CycleStep.LAID}),
    CycleStep.LAID: frozenset(),
    CycleStep.REGRESSED: frozenset(),
}

_STEP_WORDS = {
    CycleStep.OVULATED: "has ovulated",
    CycleStep.SHED: "has had her pre-lay shed",
    CycleStep.LAID: "has laid",
    CycleStep.REGRESSED: "is recorded as regressed",
}


def cycle_step(cycle: Cycle) -> CycleStep:
    """How far the cycle has come."""
    if cycle.laying_began is not None:
        return CycleStep.LAID
    if cycle.regressed_on is not None:
        return CycleStep.REGRESSED
    if cycle.shed_on is not None:
        return CycleStep.SHED
    return CycleStep.OVULATED if cycle.ovulated_on is not None else CycleStep.GROWING


def check_cycle(cycle: Cycle, to: CycleStep) -> None:
    """Raises OutOfOrder when ``to`` cannot follow what is recorded."""
    now = cycle_step(cycle)
    if to in CYCLE_TRANSITIONS[now]:
        return
    if now is to:
        raise OutOfOrder(f"She {_STEP_WORDS[to]} already in this cycle. Take that back first if it was wrong.")
    raise OutOfOrder(
        f"She {_STEP_WORDS.get(now, 'is growing')} in this cycle, so “{to.value}” cannot follow. "
        "Take the earlier entry back first if it was wrong."
    )


def can_cycle(cycle: Cycle, to: CycleStep) -> bool:
    """Whether ``to`` may follow."""
    return to in CYCLE_TRANSITIONS[cycle_step(cycle)]


def check_season(state: str, to: SeasonState) -> None:
    """Raises OutOfOrder when the season cannot go to ``to``."""
    if to not in SEASON_TRANSITIONS[SeasonState(state)]:
        raise OutOfOrder(f"Her season is {state}; it cannot become {to.value}.")


def can_season(state: str, to: SeasonState) -> bool:
    """Whether the season may go to ``to``."""
    return to in SEASON_TRANSITIONS[SeasonState(state)]


def derived_state(state: str, latest: Cycle) -> SeasonState:
    """The season's state from its latest cycle; rested and closed are a person's word and stay until she lays."""
    step = cycle_step(latest)
    if step is CycleStep.LAID:
        return SeasonState.LAID
    if step is CycleStep.REGRESSED:
        return SeasonState.REGRESSED
    if step is CycleStep.GROWING and state in {SeasonState.RESTED, SeasonState.CLOSED}:
        return SeasonState(state)
    return SeasonState.OPEN


def check_moment(moment: datetime, animal: Animal, *, field: str) -> None:
    """Raises Invalid for a moment still to come, or before the animal hatched."""
    if moment > clock.now() + FUTURE_TOLERANCE:
        raise Invalid(f"{clock.local(moment):%Y-%m-%d %H:%M} is still to come. Enter when it happened.", field=field)
    check_after_hatch(clock.day_of(moment), animal, field=field)


def check_day(day: date, animal: Animal, *, field: str) -> None:
    """The same for a fact known by its day."""
    if day > clock.today():
        raise Invalid(f"{day_text(day, year=True)} is still to come. Enter the day it happened.", field=field)
    check_after_hatch(day, animal, field=field)


def check_after_hatch(day: date, animal: Animal, *, field: str) -> None:
    """Raises Invalid for a day before the animal hatched."""
    if animal.hatched_on is not None and day < animal.hatched_on:
        raise Invalid(
            f"{animal.code} hatched on {day_text(animal.hatched_on, year=True)}; "
            f"{day_text(day, year=True)} is before that.",
            field=field,
        )


def check_female(animal: Animal, *, field: str = "female") -> None:
    """Raises NotAFemale."""
    if animal.sex != Sex.FEMALE:
        raise NotAFemale(
            f"{animal.code} is recorded as {animal.sex}, not as a female. Correct her sex first if that is wrong.",
            field=field,
        )


def check_here(animal: Animal, on: date, *, field: str) -> None:
    """Raises NotHere when the animal had left by that day; facts from before it left may still be entered."""
    if animal.status in {Status.HERE, Status.LOANED, Status.MISSING}:
        return
    if animal.status_since is not None and on <= animal.status_since:
        return
    since = f" since {day_text(animal.status_since, year=True)}" if animal.status_since else ""
    raise NotHere(f"{animal.code} is {animal.status}{since}.", field=field)


def reading_range(numbers: Mapping[str, float]) -> tuple[float, float] | None:
    """The possible range of a diameter, None for a species without a profile."""
    low, high = numbers.get("scan.possible_low_mm"), numbers.get("scan.possible_high_mm")
    return None if low is None or high is None else (low, high)


def check_reading(mm: float, numbers: Mapping[str, float], *, doubtful: bool) -> None:
    """Raises ImpossibleReading outside the species' possible range, unless it is kept as doubtful."""
    if not mm > 0:
        raise ImpossibleReading("A follicle has a diameter above 0 mm. Type it again.", field="mm")
    if doubtful:
        return
    possible = reading_range(numbers)
    if possible is None or possible[0] <= mm <= possible[1]:
        return
    side = "beyond" if mm > possible[1] else "below"
    raise ImpossibleReading(
        f"{mm:g} mm is {side} any follicle of this species ({possible[0]:g} to {possible[1]:g} mm). "
        "Type it again, scan again, or keep it as read, marked doubtful.",
        field="mm",
    )


def check_count(count: int | None, numbers: Mapping[str, float], *, doubtful: bool) -> None:
    """Raises Invalid for more follicles than the species has, unless the reading is doubtful."""
    largest = numbers.get("scan.largest_count_possible")
    if count is not None and largest is not None and count > largest and not doubtful:
        raise Invalid(f"{count} follicles is more than the {largest:g} this species may show.", field="count")


def check_round_open(scan_round: ScanRound) -> None:
    """Raises WrongState when the round is closed."""
    if scan_round.closed_at is not None:
        raise WrongState(f"Scan round {scan_round.number} is closed. Open a new one.", field="round")


def check_in_round(scan_round: ScanRound, observed_at: datetime) -> None:
    """Raises Invalid for a reading from before its round was opened: more often a clock that is a day behind."""
    if observed_at < scan_round.opened_at - FUTURE_TOLERANCE:
        opened = clock.local(scan_round.opened_at)
        raise Invalid(
            f"The round was opened on {opened:%Y-%m-%d at %H:%M}; readings are later. Is the device’s clock right?",
            field="observed_at",
        )


def check_strike(*, by: Person, author_id: int, recorded_at: datetime, reason: str) -> None:
    """Own entries: ten minutes without a reason, the rest of the day with one. Others' need the right for it."""
    age = clock.now() - recorded_at
    own = author_id == by.pk
    if own and age <= UNDO_WITHIN:
        check_may(by, Permission.STRIKE_OWN)
        return
    today = clock.day_of(recorded_at) == clock.today()
    check_may(by, Permission.STRIKE_OWN if own and today else Permission.STRIKE_OTHERS)
    if not reason.strip():
        raise Invalid("Say why it is struck out.", field="reason")


def can_strike(*, by: Person, author_id: int, recorded_at: datetime) -> bool:
    """Whether a reason would let this person strike it out."""
    try:
        check_strike(by=by, author_id=author_id, recorded_at=recorded_at, reason="asked")
    except NotAllowed:
        return False
    return True
