"""What each state of an egg allows."""

from __future__ import annotations

from apps.incubation.choices import EggState
from apps.incubation.errors import EggOutOfOrder
from apps.incubation.models import Egg

_S = EggState
EGG_TRANSITIONS: dict[EggState, frozenset[EggState]] = {
    _S.COLLECTED: frozenset({_S.IN_BOX, _S.SLUG, _S.FAILED, _S.LEFT}),
    _S.IN_BOX: frozenset({_S.COLLECTED, _S.PIPPING, _S.HATCHED, _S.FAILED, _S.SLUG, _S.LEFT}),
    _S.PIPPING: frozenset({_S.HATCHED, _S.FAILED}),
    _S.SLUG: frozenset({_S.COLLECTED}),
    # an egg given up that hatched after all: it happens, and no young is lost for it
    _S.FAILED: frozenset({_S.PIPPING, _S.HATCHED}),
    _S.HATCHED: frozenset(),
    _S.LEFT: frozenset(),
}
ALIVE = frozenset({_S.COLLECTED, _S.IN_BOX, _S.PIPPING})


def can_egg(egg: Egg, to: EggState) -> bool:
    """Whether the egg may go there."""
    return to in EGG_TRANSITIONS[EggState(egg.state)]


def check_egg(egg: Egg, to: EggState) -> None:
    """Raises EggOutOfOrder."""
    if not can_egg(egg, to):
        raise EggOutOfOrder(f"Egg {egg.code} is {egg.state}; it cannot become {to.value}.", field="egg")
