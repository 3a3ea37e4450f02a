"""What holds and states allow. ``check_handling`` is the only judge of holds."""

from __future__ import annotations

from datetime import datetime

from apps.animals.choices import BroodState, HandlingAct, HoldWord, Status
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Hold
from apps.animals.selectors.holds import holds_in_force
from apps.core import clock
from apps.core.errors import WrongState

_A, _W = HandlingAct, HoldWord
# Which acts each hold forbids. Common practice, no source: fed or opaque animals are left in peace, sick ones stay put.
FORBIDS: dict[HoldWord, frozenset[HandlingAct]] = {
    _W.FED: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SHIP}),
    _W.OPAQUE: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SHIP}),
    _W.OVULATED: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SELL, _A.SHIP}),
    _W.RECOVERY: frozenset({_A.VISIT}),
    _W.QUARANTINE: frozenset({_A.VISIT, _A.MOVE, _A.SELL, _A.SHIP}),
    _W.DISEASE: frozenset({_A.VISIT, _A.MOVE, _A.SELL, _A.SHIP}),
    _W.TREATMENT: frozenset({_A.SCAN, _A.VISIT, _A.SELL, _A.SHIP}),
    _W.REGURGITATION: frozenset({_A.FEED, _A.VISIT, _A.SELL, _A.SHIP}),
    _W.INJURY: frozenset({_A.SCAN, _A.VISIT, _A.SELL, _A.SHIP}),
    _W.FEEDING_STOPPED: frozenset({_A.FEED}),
}
# A stated check (the weighing at the pre-lay shed, the look after laying) is allowed where only peace is the reason.
STATED_CHECK_PASSES: frozenset[HoldWord] = frozenset({_W.OVULATED, _W.FED, _W.OPAQUE})

STATUS_TRANSITIONS: dict[Status, frozenset[Status]] = {
    Status.HERE: frozenset({Status.LOANED, Status.MISSING, Status.SOLD, Status.GIVEN_AWAY, Status.DEAD}),
    Status.LOANED: frozenset({Status.HERE, Status.SOLD, Status.DEAD}),
    Status.MISSING: frozenset({Status.HERE, Status.DEAD}),
    Status.SOLD: frozenset({Status.HERE}),
    Status.GIVEN_AWAY: frozenset({Status.HERE}),
    Status.DEAD: frozenset(),
    # only a merge makes it, and only its undo ends it
    Status.MERGED: frozenset(),
}
BROOD_TRANSITIONS: dict[BroodState, frozenset[BroodState]] = {
    BroodState.LAID: frozenset({BroodState.INCUBATING, BroodState.HATCHING, BroodState.CLOSED}),
    BroodState.INCUBATING: frozenset({BroodState.HATCHING, BroodState.CLOSED, BroodState.LAID}),
    BroodState.HATCHING: frozenset({BroodState.CLOSED, BroodState.INCUBATING}),
    # an egg that hatched after its clutch was closed opens it again
    BroodState.CLOSED: frozenset({BroodState.HATCHING, BroodState.INCUBATING}),
}


def handling_blocks(
    animal: Animal, act: HandlingAct, at: datetime | None = None, *, stated_check: bool = False
) -> list[Hold]:
    """The holds in force that forbid the act, on the animal, its rack or its room."""
    holds = holds_in_force([animal], at or clock.now()).get(animal.pk, [])
    return [
        hold
        for hold in holds
        if act in FORBIDS[HoldWord(hold.word)] and not (stated_check and hold.word in STATED_CHECK_PASSES)
    ]


def may_handle(animal: Animal, act: HandlingAct, at: datetime | None = None, *, stated_check: bool = False) -> bool:
    """Whether the act is allowed now."""
    return not handling_blocks(animal, act, at, stated_check=stated_check)


def check_handling(animal: Animal, act: HandlingAct, at: datetime | None = None, *, stated_check: bool = False) -> None:
    """Raises HandlingHeld with each reason and when it ends."""
    blocks = handling_blocks(animal, act, at, stated_check=stated_check)
    if blocks:
        reasons = "; ".join(hold_words(hold) for hold in blocks)
        raise HandlingHeld(f"{animal.code}: no {act.value} now. {reasons}.")


def hold_words(hold: Hold) -> str:
    """``fed: meal of 5 Apr, until 7 Apr 18:00``"""
    if hold.ends_at is None:
        return f"{hold.word}: {hold.reason}"
    ends = clock.local(hold.ends_at)
    return f"{hold.word}: {hold.reason}, until {ends.day} {ends:%b %H:%M}"


def can_status(animal: Animal, to: Status) -> bool:
    """Whether the animal's status may become this."""
    return to in STATUS_TRANSITIONS[Status(animal.status)]


def check_status(animal: Animal, to: Status) -> None:
    """Raises WrongState."""
    if not can_status(animal, to):
        raise WrongState(f"{animal.code} is {animal.status}; it cannot become {to.value}.", field="status")


def can_brood(state: str, to: BroodState) -> bool:
    """Whether a brood in ``state`` may become ``to``."""
    return to in BROOD_TRANSITIONS[BroodState(state)]


def check_present(animal: Animal) -> None:
    """Raises WrongState for an animal that is not here: no care, scan or visit can happen to it."""
    if animal.status != Status.HERE:
        raise WrongState(f"{animal.code} is {animal.status}, not here.", field="animal")


def is_present(animal: Animal) -> bool:
    """Whether it is here."""
    return animal.status == Status.HERE
