"""Up to when a person has seen what changed."""

from __future__ import annotations

from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import service
from apps.care.models import LastLook
from apps.core import clock
from apps.core.errors import Invalid


@service("look.seen", may=Permission.READ)
def look_seen(*, by: Person, until: datetime | None = None, request_key: str | None = None) -> LastLook:
    """What changed up to ``until`` (now when left out) is seen; it never moves back. Raises Invalid for a time to come.

    A person's own mark and no fact of the house: it writes no audit row.
    """
    moment = until or clock.now()
    if moment > clock.now():
        raise Invalid("What is still to come cannot have been seen.", field="until")
    row, made = LastLook.objects.get_or_create(person=by, defaults={"seen_at": moment})
    if not made:
        LastLook.objects.filter(pk=row.pk, seen_at__lt=moment).update(seen_at=moment)
    return LastLook.objects.get(pk=row.pk)
