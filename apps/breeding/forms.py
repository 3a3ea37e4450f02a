"""Forms of the season. Services check everything again; forms only read what was typed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from apps.animals.models import Animal
from apps.animals.selectors import animal_by_code
from apps.breeding.choices import ACT_WORDS, CycleFact, NoReading, Side
from apps.core import clock
from apps.core.errors import DomainError, Many
from apps.places.models import Room

NUMBER = re.compile(r"\d+([.,]\d+)?")


def refuse(form: forms.Form, error: DomainError) -> None:
    """Put a service's refusal beside its field, else above the form."""
    for one in error.errors if isinstance(error, Many) else [error]:
        form.add_error(one.field if one.field in form.fields else None, forms.ValidationError(one.message, one.code))


class MomentField(forms.DateTimeField):
    """A moment as the facility's own clock shows it."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        super().__init__(widget=widget, **kwargs)

    def to_python(self, value: Any) -> datetime | None:
        """Read in the facility's zone, whatever zone the server runs in."""
        with timezone.override(clock.zone()):
            return super().to_python(value)


class DayField(forms.DateField):
    """A facility day."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"), **kwargs)


class AnimalField(forms.CharField):
    """An animal by its code, or by what a label's reader types."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
        super().__init__(max_length=200, widget=widget, **kwargs)

    def clean(self, value: Any) -> Any:
        """The animal itself."""
        text = super().clean(value)
        if not text:
            return None
        animal = animal_by_code(text)
        if animal is None:
            raise forms.ValidationError(f"There is no animal with the code “{text}”. Check it.", code="unknown")
        return animal


class MillimetreField(forms.FloatField):
    """A diameter as typed: ``36.6`` or ``36,6``."""

    def __init__(self, **kwargs: Any) -> None:
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs=attrs), **kwargs)
        self.unit = "mm"

    def to_python(self, value: Any) -> Any:
        """Comma or point as the decimal sign; the unit may be written."""
        typed = str(value or "").strip().removesuffix("mm").strip()
        if typed and not NUMBER.fullmatch(typed):
            raise forms.ValidationError("Write the diameter as a number of millimetres, such as 36.6.", code="invalid")
        return super().to_python(typed.replace(",", "."))


class DayForm(forms.Form):
    """The day something happened."""

    on = DayField(label="Day")


class VisitForm(forms.Form):
    """A visit from a female's page."""

    male = AnimalField(label="Male", help_text="his code")
    began_at = MomentField(label="Since", required=False, help_text="empty: now")


class PairForm(forms.Form):
    """A visit from the page of all visits."""

    female = AnimalField(label="Female", help_text="her code")
    male = AnimalField(label="Male", help_text="his code")
    began_at = MomentField(label="Since", required=False, help_text="empty: now")
    ended_at = MomentField(label="Until", required=False, help_text="empty: he is still with her")


class EndForm(forms.Form):
    """A visit's end."""

    ended_at = MomentField(label="Until", required=False, help_text="empty: now")


class LockForm(forms.Form):
    """A lock seen."""

    seen_at = MomentField(label="Seen", required=False, help_text="empty: now")


class ScanForm(forms.Form):
    """One reading outside a round."""

    mm = MillimetreField(label="Largest follicle")
    count = forms.IntegerField(label="Follicles counted", required=False, min_value=0)
    side = forms.ChoiceField(
        label="Side", required=False, choices=[("", "not said"), *[(side.value, side.value) for side in Side]]
    )
    observed_at = MomentField(label="Read", required=False, help_text="empty: now")
    doubtful = forms.BooleanField(label="keep as read, marked doubtful", required=False)
    stated_check = forms.BooleanField(label="this is the stated check after ovulation", required=False)
    note = forms.CharField(label="Note", max_length=160, required=False)


class OverrideForm(forms.Form):
    """Another way than advised."""

    act_advised = forms.CharField(label="Advice", max_length=20)
    instead = forms.ChoiceField(label="Instead", choices=list(ACT_WORDS.items()))
    reason = forms.CharField(label="Why", max_length=160)


class ReasonForm(forms.Form):
    """Why."""

    reason = forms.CharField(label="Why", max_length=80, required=False)


class RestForm(forms.Form):
    """Why she rests."""

    why = forms.CharField(label="Why", max_length=160)


class WithdrawForm(forms.Form):
    """A step taken back."""

    fact = forms.ChoiceField(label="Step", choices=CycleFact.choices)
    reason = forms.CharField(label="Why", max_length=80)


class RoomsForm(forms.Form):
    """Some of the rooms there are."""

    rooms = forms.MultipleChoiceField(
        label="Rooms",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one room."},
    )

    def __init__(self, *args: Any, rooms: Sequence[Room] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known = {room.ref: room for room in rooms}
        sites = {room.site_id for room in rooms}
        field = self.fields["rooms"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [
            (room.ref, room.name if len(sites) < 2 else f"{room.name}, {room.site.name}") for room in rooms
        ]

    def clean_rooms(self) -> list[Room]:
        """The rooms themselves."""
        return [self.known[ref] for ref in self.cleaned_data["rooms"]]


class RoundForm(RoomsForm):
    """Rooms of a new scan round."""

    note = forms.CharField(label="Note", max_length=160, required=False)


class PlanForm(RoomsForm):
    """When the next round is, how long it may take, and where."""

    at = MomentField(label="Begins")
    hours = forms.FloatField(
        label="Hours there are", min_value=0.25, max_value=12, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    field_order = ("at", "hours", "rooms")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["rooms"].required = False  # none ticked means all


class EntryForm(forms.Form):
    """What is typed at the ultrasound: a number, or a label's text that jumps to its female."""

    female = forms.CharField(max_length=10)
    mm = forms.CharField(label="Largest follicle", max_length=200, required=False)
    count = forms.CharField(label="Follicles counted", max_length=6, required=False)
    stated_check = forms.BooleanField(required=False)
    reason = forms.ChoiceField(label="Reason", choices=NoReading.choices, required=False)
    note = forms.CharField(label="Note", max_length=80, required=False)

    def number(self) -> float | None:
        """The diameter, None when it is no number."""
        return typed_mm(str(self.cleaned_data.get("mm", "")))

    def counted(self) -> int | None:
        """The count, None when none was typed."""
        typed = str(self.cleaned_data.get("count", "")).strip()
        return int(typed) if typed.isdigit() else None


def typed_mm(text: str) -> float | None:
    """``21.4``, ``21,4`` or ``21.4 mm``; None when it is no number."""
    typed = text.strip().removesuffix("mm").strip()
    return float(typed.replace(",", ".")) if NUMBER.fullmatch(typed) else None


def typed_animal(text: str) -> Animal | None:
    """The animal a label names: its own code or drawer card, or the tub it is in."""
    return animal_by_code(text)


class WishForm(forms.Form):
    """A pin or a veto."""

    male = AnimalField(label="Male")
    female = AnimalField(label="Female")
    week_of = DayField(label="Week of", required=False, help_text="any day of it; a pin needs it")
    reason = forms.CharField(label="Why", max_length=160)
