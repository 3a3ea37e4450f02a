"""What holds and states allow. ``check_handling`` is the only judge of holds."""

from __future__ import annotations

from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import check_may, may
from apps.animals.choices import (
    ENDED_BY_PEOPLE,
    SET_BY_HAND,
    BroodState,
    HandlingAct,
    HoldWord,
    SireModel,
    Status,
)
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Brood, Hold
from apps.animals.selectors.holds import holds_in_force, place_holds
from apps.core import clock
from apps.core.errors import NotAllowed, WrongState
from apps.places.models import Tub

_A, _W = HandlingAct, HoldWord
# Which acts each hold forbids. Common practice, no source: fed or opaque animals are left in peace, sick ones stay put.
FORBIDS: dict[HoldWord, frozenset[HandlingAct]] = {
    _W.FED: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SHIP}),
    _W.OPAQUE: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SHIP}),
    _W.OVULATED: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SELL, _A.SHIP}),
    _W.RECOVERY: frozenset({_A.VISIT}),
    # a scan passes one probe from animal to animal: tools stay outside with them
    _W.QUARANTINE: frozenset({_A.SCAN, _A.VISIT, _A.MOVE, _A.SELL, _A.SHIP}),
    _W.DISEASE: frozenset({_A.SCAN, _A.VISIT, _A.MOVE, _A.SELL, _A.SHIP}),
    _W.TREATMENT: frozenset({_A.SCAN, _A.VISIT, _A.WEIGH, _A.SELL, _A.SHIP}),
    _W.REGURGITATION: frozenset({_A.FEED, _A.VISIT, _A.SELL, _A.SHIP}),
    _W.INJURY: frozenset({_A.SCAN, _A.VISIT, _A.SELL, _A.SHIP}),
    _W.FEEDING_STOPPED: frozenset({_A.FEED}),
}
# A stated check (the weighing at the pre-lay shed, the look after laying) is allowed where only peace is the reason;
# in treatment the weighing that the veterinarian asks for.
STATED_CHECK_PASSES: dict[HoldWord, frozenset[HandlingAct]] = {
    _W.OVULATED: frozenset({_A.SCAN, _A.WEIGH}),
    _W.FED: frozenset({_A.SCAN, _A.WEIGH}),
    _W.OPAQUE: frozenset({_A.SCAN, _A.WEIGH}),
    _W.TREATMENT: frozenset({_A.WEIGH}),
}

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
    return [hold for hold in holds if forbids(HoldWord(hold.word), act, stated_check=stated_check)]


def forbids(word: HoldWord, act: HandlingAct, *, stated_check: bool = False) -> bool:
    """Whether a hold with this word forbids the act."""
    passes = stated_check and act in STATED_CHECK_PASSES.get(word, frozenset())
    return act in FORBIDS[word] and not passes


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


def right_to_lift(hold: Hold) -> Permission:
    """What it takes to end a hold: the right that sets it, for one set by hand; a welfare block is the owner's.

    A quarantine is released, with a look at its days and tests, one floor up; lifting it past that is a welfare block.
    """
    by_hand = not hold.source_kind and hold.word in SET_BY_HAND and hold.word != HoldWord.QUARANTINE
    return Permission.TREATMENT_SET if by_hand else Permission.WELFARE_LIFT


def check_lift(by: Person, hold: Hold) -> None:
    """Raises NotAllowed when this person may not end this hold."""
    if may(by, right_to_lift(hold)):
        return
    if hold.word == HoldWord.QUARANTINE and may(by, Permission.TREATMENT_SET):
        raise NotAllowed(
            "A quarantine is released on the health page, which looks at its days, tests and notes. "
            "An owner may lift it past that.",
            code="not-allowed",
        )
    check_may(by, right_to_lift(hold))


def check_place_open(tub: Tub) -> None:
    """Raises HandlingHeld when the tub's rack or room is in quarantine or held for disease: nothing new goes in."""
    for hold in place_holds(tub, clock.now()):
        if hold.word in ENDED_BY_PEOPLE:
            raise HandlingHeld(
                f"{hold.rack or hold.room} is held. {hold_words(hold)}. An animal that joins begins the days anew; "
                "the breeding lead may put it there, on record.",
                field="tub",
            )


# Each change of status is an act of somebody's work: the right (one of them is enough) by what the animal becomes.
_STATUS_RIGHTS: dict[Status, frozenset[Permission]] = {
    Status.SOLD: frozenset({Permission.ANIMALS_EDIT, Permission.SALES_EDIT, Permission.PARCELS_EDIT}),
    Status.LOANED: frozenset({Permission.ANIMALS_EDIT, Permission.SALES_EDIT}),
    Status.GIVEN_AWAY: frozenset({Permission.ANIMALS_EDIT, Permission.SALES_EDIT}),
    Status.MISSING: frozenset({Permission.ANIMALS_EDIT, Permission.ANIMALS_MOVE}),
    Status.DEAD: frozenset({Permission.ANIMALS_EDIT}),
}
# Back again: found by whoever walks the racks, returned through whoever sold or lent it.
_BACK_RIGHTS: dict[Status, frozenset[Permission]] = {
    Status.MISSING: frozenset({Permission.ANIMALS_EDIT, Permission.ANIMALS_MOVE}),
    Status.DEAD: frozenset({Permission.ANIMALS_EDIT}),
}
_RETURNED = frozenset({Permission.ANIMALS_EDIT, Permission.SALES_EDIT, Permission.PARCELS_EDIT})


def check_may_status(by: Person, animal: Animal, to: Status) -> None:
    """Raises NotAllowed when this person's work does not include that change of status."""
    rights = _BACK_RIGHTS.get(Status(animal.status), _RETURNED) if to == Status.HERE else _STATUS_RIGHTS[to]
    if not any(may(by, right) for right in rights):
        check_may(by, Permission.ANIMALS_EDIT)


def check_may_set_sires(by: Person, brood: Brood) -> None:
    """Raises NotAllowed: whoever records the laying says it first, what is said later is lineage and the lead's."""
    first = brood.sire_model == SireModel.UNKNOWN and not brood.sire_candidates.exists()
    if not (first and may(by, Permission.BROODS_EDIT)):
        check_may(by, Permission.ANIMALS_EDIT)


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
