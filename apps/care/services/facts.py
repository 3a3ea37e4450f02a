"""How every fact is written: its moment, its author, and an offline entry that comes twice."""

from __future__ import annotations

from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.models import Person
from apps.animals.choices import HandlingAct
from apps.animals.errors import HandlingHeld
from apps.animals.models import Animal, Fact
from apps.animals.policies import check_handling
from apps.care.policies import check_kept, check_moment
from apps.core import clock
from apps.core.errors import Duplicate, Invalid

FactT = TypeVar("FactT", bound=Fact)


def client_uuid(client_id: UUID | str | None) -> UUID | None:
    """The entry's own id as a UUID. Raises Invalid naming ``client_id``."""
    if isinstance(client_id, UUID):
        return client_id
    if not client_id:
        return None
    try:
        return UUID(client_id)
    except ValueError:
        raise Invalid("A client_id is a UUID.", field="client_id") from None


def fact_again(model: type[FactT], animal: Animal, client_id: UUID | None) -> FactT | None:
    """The row an entry with this id made before. Raises Duplicate when that was another animal's."""
    if client_id is None:
        return None
    earlier: FactT | None = model._default_manager.filter(client_id=client_id).first()
    if earlier is not None and earlier.animal_id != animal.pk:
        raise Duplicate("This entry was already saved for another animal.", field="client_id")
    return earlier


def seen_at(animal: Animal, observed_at: datetime | None) -> datetime:
    """When it was seen (now when not said). Raises Invalid or WrongState when it cannot have been then."""
    if observed_at is not None and observed_at.tzinfo is None:
        raise Invalid("Give the moment with its time zone.", field="observed_at")
    moment = observed_at or clock.now()
    check_moment(animal, moment)
    check_kept(animal, moment)
    return min(moment, clock.now())


def fact_write(model: type[FactT], *, by: Person, animal: Animal, moment: datetime, **columns: Any) -> FactT:
    """Insert one fact."""
    try:
        with transaction.atomic():
            return model._default_manager.create(
                animal=animal, observed_at=moment, recorded_at=clock.now(), by=by, **columns
            )
    except IntegrityError:
        # two devices sent the same offline entry at once: the first one stands
        earlier = fact_again(model, animal, columns.get("client_id"))
        if earlier is None:
            raise
        return earlier


def against_hold(
    animal: Animal, act: HandlingAct, *, moment: datetime, planned: bool, stated_check: bool = False
) -> str:
    """Why a hold forbade the act at that moment, empty when none did.

    An act about to be done (``planned``) is refused: raises HandlingHeld. One that happened is recorded all the same,
    with the hold's words beside it in the audit row: a true fact is never lost.
    """
    try:
        check_handling(animal, act, at=moment, stated_check=stated_check)
    except HandlingHeld as held:
        if planned:
            raise
        return held.message
    return ""
