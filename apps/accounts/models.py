"""People and their roles, devices, the facility's settings, request keys, audit rows and corrections."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from apps.accounts.choices import CorrectionKind, DeviceKind, Permission, Role, RowVerb
from apps.core.rows import Linked, choice_check, paired_check


class PersonManager(BaseUserManager["Person"]):
    """Makes people; services are the way for everything a user does."""

    def create_user(self, email: str, name: str, password: str | None = None, **extra: Any) -> Person:
        """A person who signs in with an e-mail address."""
        person = self.model(email=self.normalize_email(email).strip().lower(), name=name, **extra)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, email: str, name: str = "Administrator", password: str | None = None) -> Person:
        """An administrator (Django admin)."""
        return self.create_user(email, name, password, is_staff=True, is_superuser=True)


class Person(AbstractBaseUser, PermissionsMixin, Linked):
    """Somebody who works here, or the named system person that jobs act as."""

    email = models.EmailField(unique=True)
    name = models.CharField(max_length=80)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    is_system = models.BooleanField(default=False, help_text="A job's author; never signs in.")
    pin_hash = models.CharField(max_length=256, blank=True)
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects: ClassVar[PersonManager] = PersonManager()

    class Meta:
        verbose_name_plural = "people"
        constraints = [
            models.UniqueConstraint(
                Lower("email"), name="person_email_once", violation_error_message="Somebody already has this e-mail."
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def roles(self) -> frozenset[Role]:
        """The roles held, read once per instance."""
        held: frozenset[Role] | None = getattr(self, "_roles", None)
        if held is None:
            held = frozenset(Role(role) for role in self.held_roles.values_list("role", flat=True))
            self._roles = held
        return held

    @property
    def permissions(self) -> frozenset[Permission]:
        """Everything the roles allow together; the system person may do everything."""
        if self.is_system:
            return frozenset(Permission)
        return frozenset().union(*(role.permissions for role in self.roles))

    @property
    def role_words(self) -> str:
        """``breeding lead, packer``"""
        return ", ".join(role.value for role in Role if role in self.roles) or "no role"


class PersonRole(models.Model):
    """One role held by one person."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="held_roles")
    role = models.CharField(max_length=20, choices=[(role.value, role.value) for role in Role])

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "role"], name="person_role_once"),
            models.CheckConstraint(condition=Q(role__in=[role.value for role in Role]), name="person_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.role}"


class Device(Linked):
    """A registered device: a shared tablet (people switch by PIN) or a probe (may only post its readings)."""

    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20, choices=[(kind.value, kind.value) for kind in DeviceKind])
    key_hash = models.CharField(max_length=64, unique=True)
    is_active = models.BooleanField(default=True)
    registered_at = models.DateTimeField()
    registered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[kind.value for kind in DeviceKind]), name="device_kind_known")
        ]

    def __str__(self) -> str:
        return self.name


class Facility(models.Model):
    """The settings of this installation: one row."""

    name = models.CharField(max_length=80, default="My facility")
    address = models.TextField(blank=True, help_text="As printed on papers.")
    postcode = models.CharField(max_length=12, blank=True)
    city = models.CharField(max_length=60, blank=True)
    county = models.CharField(max_length=60, blank=True)
    state = models.CharField(max_length=40, blank=True)
    country = models.CharField(max_length=2, default="US")
    phone = models.CharField(max_length=40, blank=True)
    night_phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    time_zone = models.CharField(max_length=60, default="UTC")
    day_starts_at_hour = models.PositiveSmallIntegerField(default=4, validators=[MaxValueValidator(23)])
    fahrenheit_first = models.BooleanField(default=False)
    currency = models.CharField(max_length=3, default="USD")
    refund_limit_minor = models.PositiveIntegerField(default=0)
    reservation_days = models.PositiveSmallIntegerField(default=7, validators=[MinValueValidator(1)])
    idle_lock_minutes = models.PositiveSmallIntegerField(default=5, validators=[MinValueValidator(1)])
    paper = models.CharField(max_length=10, default="letter", choices=[("letter", "Letter"), ("a4", "A4")])
    clock_offset_seconds = models.BigIntegerField(default=0)
    is_demo = models.BooleanField(default=False)

    class Meta:
        verbose_name_plural = "facility"
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="facility_one_row"),
            models.CheckConstraint(condition=Q(day_starts_at_hour__lte=23), name="facility_day_start_hour"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def clock_offset(self) -> timedelta:
        """Facility time minus real time."""
        return timedelta(seconds=self.clock_offset_seconds)


class RequestKey(models.Model):
    """One create that was carried out: a repeat with the same key gets the first result."""

    act = models.CharField(max_length=60)
    key = models.CharField(max_length=80)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    input_hash = models.CharField(max_length=64)
    result = models.JSONField(default=list)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["act", "key"], name="request_key_once")]
        indexes = [models.Index(fields=["created_at"])]

    def __str__(self) -> str:
        return f"{self.act} {self.key}"


class AuditRow(models.Model):
    """Who did what to what, when. Written by the service in its own transaction; never changed."""

    at = models.DateTimeField(help_text="Facility clock.")
    recorded_at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    act = models.CharField(max_length=60)
    # Plain columns, not a foreign key: the subject may live on any floor above.
    kind = models.CharField(max_length=40)
    subject_ref = models.CharField(max_length=20)
    label = models.CharField(max_length=120)
    detail = models.JSONField(default=dict)

    class Meta:
        indexes = [
            models.Index(fields=["kind", "subject_ref", "-at"]),
            models.Index(fields=["-at"]),
            models.Index(fields=["by", "-at"]),
        ]

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.by} {self.act} {self.label}"

    @property
    def moment(self) -> datetime:
        """When it happened, facility clock."""
        return self.at


class Correction(Linked):
    """One act that put records right across floors, kept with every row it changed so that it can be undone."""

    kind = models.CharField(max_length=20, choices=CorrectionKind.choices)
    label = models.CharField(max_length=160)
    why = models.CharField(max_length=160)
    asked = models.JSONField(default=dict, help_text="What was asked, in refs: animals, since when, what stays.")
    at = models.DateTimeField(help_text="Facility clock.")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            choice_check("kind", CorrectionKind, "correction_kind_known"),
            paired_check("undone_at", "undone_by", "correction_undone_pair"),
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True) | Q(undone_at__gte=F("at")), name="correction_dates"
            ),
        ]
        indexes = [models.Index(fields=["-at"])]

    def __str__(self) -> str:
        return self.label


class CorrectionRow(models.Model):
    """One row of one table before and after a correction. Plain columns: the table may stand on any floor above."""

    correction = models.ForeignKey(Correction, on_delete=models.PROTECT, related_name="rows")
    order = models.PositiveIntegerField()
    table = models.CharField(max_length=60)
    key = models.BigIntegerField()
    verb = models.CharField(max_length=7, choices=RowVerb.choices)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)

    class Meta:
        constraints = [
            choice_check("verb", RowVerb, "correction_row_verb_known"),
            models.UniqueConstraint(fields=["correction", "table", "key"], name="correction_row_once"),
        ]
        indexes = [models.Index(fields=["table", "key"])]

    def __str__(self) -> str:
        return f"{self.table} {self.key} {self.verb}"
