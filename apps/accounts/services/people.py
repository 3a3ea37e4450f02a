"""What is done to people, devices and the facility's settings."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Iterable, Mapping
from datetime import timedelta
from zoneinfo import ZoneInfo, available_timezones

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import F

from apps.accounts.choices import DeviceKind, Permission, Role
from apps.accounts.errors import LastOwner, PinLocked, PinWrong
from apps.accounts.models import AuditRow, Device, Facility, Person, PersonRole
from apps.accounts.policies import check_may
from apps.accounts.selectors import facility_forget, system_person
from apps.accounts.services.acts import audit_write, service
from apps.core import clock
from apps.core.errors import Duplicate, Invalid

PIN_TRIES = 5
PIN_LOCK = timedelta(minutes=15)
SIGN_IN_TRIES = 10
SIGN_IN_LOCK = timedelta(minutes=15)
SIGN_IN_REFUSED = "sign-in.refused"
FACILITY_FIELDS = frozenset(
    field.name for field in Facility._meta.fields if field.name not in {"id", "clock_offset_seconds", "is_demo"}
)


@service("person.add", may=Permission.PEOPLE_EDIT)
def person_add(
    *, by: Person, email: str, name: str, roles: Iterable[Role], password: str, request_key: str | None = None
) -> Person:
    """Add somebody who signs in. Raises Invalid, Duplicate."""
    address = email.strip().lower()
    try:
        validate_email(address)
    except ValidationError:
        raise Invalid(f"“{email}” is not an e-mail address. Write it as name@example.com.", field="email") from None
    if not name.strip():
        raise Invalid("A person needs a name.", field="name")
    if Person.objects.filter(email=address).exists():
        raise Duplicate(f"{address} is already in use. Give that person the role instead.", field="email")
    _check_password(password)
    person = Person.objects.create_user(address, name.strip(), password)
    for role in roles:
        PersonRole.objects.create(person=person, role=role)
    audit_write(by=by, act="person.add", subject=person, detail={"roles": sorted(roles)})
    return person


@service("person.roles", may=Permission.PEOPLE_EDIT)
def person_roles_set(*, by: Person, person: Person, roles: Iterable[Role], request_key: str | None = None) -> Person:
    """Set the roles somebody holds. Raises LastOwner."""
    wanted = set(roles)
    before = {Role(role) for role in person.held_roles.values_list("role", flat=True)}
    if Role.OWNER in before - wanted:
        _check_other_owner(person)
    person.held_roles.exclude(role__in=wanted).delete()
    for role in wanted - before:
        PersonRole.objects.create(person=person, role=role)
    audit_write(by=by, act="person.roles", subject=person, detail={"before": sorted(before), "after": sorted(wanted)})
    return Person.objects.get(pk=person.pk)


@service("person.close", may=Permission.PEOPLE_EDIT)
def person_close(*, by: Person, person: Person, request_key: str | None = None) -> Person:
    """Somebody left: no more sign-in; what they wrote keeps their name. Raises LastOwner."""
    if Role.OWNER in person.roles:
        _check_other_owner(person)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    audit_write(by=by, act="person.close", subject=person)
    return Person.objects.get(pk=person.pk)


@service("person.password")
def password_set(*, by: Person, person: Person, password: str, request_key: str | None = None) -> Person:
    """Set a password: one's own, or (owner) somebody's. Every other open session of the person ends."""
    if by.pk != person.pk:
        check_may(by, Permission.PEOPLE_EDIT)
    _check_password(password)
    Person.objects.filter(pk=person.pk).update(password=make_password(password))
    audit_write(by=by, act="person.password", subject=person)
    return Person.objects.get(pk=person.pk)


@service("person.pin")
def pin_set(*, by: Person, pin: str, request_key: str | None = None) -> Person:
    """Set one's own PIN for shared tablets: 4 to 8 digits, not all the same."""
    if not re.fullmatch(r"\d{4,8}", pin):
        raise Invalid("A PIN is 4 to 8 digits.", field="pin")
    if len(set(pin)) == 1:
        raise Invalid("All digits are the same. Choose another PIN.", field="pin")
    Person.objects.filter(pk=by.pk).update(pin_hash=make_password(pin), pin_failures=0, pin_locked_until=None)
    audit_write(by=by, act="person.pin", subject=by)
    return Person.objects.get(pk=by.pk)


def pin_switch(*, person: Person, pin: str) -> Person:
    """Check a PIN on a shared tablet. Raises PinLocked after five wrong ones (15 minutes), PinWrong.

    Not one transaction on purpose: a failure must stay counted although the error is raised.
    """
    moment = clock.real_now()
    if person.pin_locked_until and person.pin_locked_until > moment:
        raise PinLocked("Too many wrong PINs. Sign in with the password, or wait 15 minutes.", field="pin")
    if not person.pin_hash or not check_password(pin, person.pin_hash):
        Person.objects.filter(pk=person.pk).update(pin_failures=F("pin_failures") + 1)
        failures = Person.objects.values_list("pin_failures", flat=True).get(pk=person.pk)
        if failures >= PIN_TRIES:
            Person.objects.filter(pk=person.pk).update(pin_locked_until=moment + PIN_LOCK, pin_failures=0)
            raise PinLocked("Too many wrong PINs. Sign in with the password, or wait 15 minutes.", field="pin")
        raise PinWrong(f"The PIN does not match. {PIN_TRIES - failures} tries are left.", field="pin")
    Person.objects.filter(pk=person.pk).update(pin_failures=0, pin_locked_until=None)
    return person


def sign_in_refused(*, person: Person) -> None:
    """Write down a wrong password; nothing more is written while sign-in waits."""
    if not sign_in_waits(person=person):
        audit_write(by=system_person(), act=SIGN_IN_REFUSED, subject=person)


def sign_in_waits(*, person: Person) -> bool:
    """There were ten wrong passwords within 15 minutes: nobody signs in as this person until they are past."""
    wrong = AuditRow.objects.filter(
        act=SIGN_IN_REFUSED,
        kind=person._meta.model_name or "",
        subject_ref=person.ref,
        recorded_at__gt=clock.real_now() - SIGN_IN_LOCK,
    )
    return wrong.count() >= SIGN_IN_TRIES


def device_register(*, by: Person, name: str, kind: DeviceKind) -> tuple[Device, str]:
    """Register a device; returns it with its key, which is shown once and kept only as a hash."""
    check_may(by, Permission.SETTINGS_EDIT)
    if not name.strip():
        raise Invalid("A device needs a name, such as “Barn tablet”.", field="name")
    key = secrets.token_urlsafe(24)
    device = Device.objects.create(
        name=name.strip()[:80], kind=kind, key_hash=device_key_hash(key), registered_at=clock.now(), registered_by=by
    )
    audit_write(by=by, act="device.register", subject=device, detail={"kind": kind})
    return device, key


def device_key_hash(key: str) -> str:
    """How a device key is kept: it has 192 random bits, so a plain hash is enough."""
    return hashlib.sha256(key.encode()).hexdigest()


@service("facility.set", may=Permission.SETTINGS_EDIT)
def facility_set(*, by: Person, values: Mapping[str, object], request_key: str | None = None) -> Facility:
    """Change facility settings. Raises Invalid naming the field."""
    row, _ = Facility.objects.get_or_create(pk=1)
    before = {name: getattr(row, name) for name in values}
    for name, value in values.items():
        if name not in FACILITY_FIELDS:
            raise Invalid(f"{name} is not a setting.", field=name)
        setattr(row, name, value)
    if row.time_zone not in available_timezones():
        raise Invalid(f"“{row.time_zone}” is not a time zone. Write it as America/New_York.", field="time_zone")
    ZoneInfo(row.time_zone)
    try:
        row.full_clean()
    except ValidationError as error:
        field, messages = next(iter(error.message_dict.items()))
        raise Invalid(" ".join(messages), field=field) from None
    row.save(update_fields=[*values])
    facility_forget()
    changed = {name: [before[name], value] for name, value in values.items() if before[name] != value}
    audit_write(by=by, act="facility.set", subject=row, detail=changed)
    return row


def _check_password(password: str) -> None:
    try:
        validate_password(password)
    except ValidationError as error:
        raise Invalid(" ".join(error.messages), field="password") from None


def _check_other_owner(person: Person) -> None:
    if not Person.objects.filter(is_active=True, held_roles__role=Role.OWNER).exclude(pk=person.pk).exists():
        raise LastOwner("This is the last owner. Give somebody else the role first.", field="roles")
