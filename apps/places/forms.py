"""Forms of places. Services check everything again; forms only read what was typed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from apps.core import clock
from apps.places.choices import RoomKind
from apps.places.models import HealthGroup, Incubator, Rack, Room, Site

NUMBER = {"inputmode": "decimal", "autocomplete": "off"}


class CelsiusField(forms.FloatField):
    """Degrees Celsius; a comma is a decimal sign."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs=NUMBER), **kwargs)
        self.unit = "°C"

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        """``31.5``, ``31,5``, ``31.5 °C``."""
        typed = str(value or "").strip().removesuffix("C").removesuffix("°").strip()
        return super().to_python(typed.replace(",", "."))


class MomentField(forms.DateTimeField):
    """A moment as the facility's own clock shows it."""

    def to_python(self, value: Any) -> datetime | None:
        """Read in the facility's zone, whatever zone the server runs in."""
        with timezone.override(clock.zone()):
            return super().to_python(value)


class SiteForm(forms.Form):
    """A building or yard."""

    name = forms.CharField(label="Name", max_length=60)
    address = forms.CharField(label="Address", required=False, widget=forms.Textarea(attrs={"rows": 3}))


class HealthGroupForm(forms.Form):
    """Rooms that may exchange animals and tools."""

    name = forms.CharField(label="Name", max_length=60, help_text="such as barn, or isolation")


class RoomForm(forms.Form):
    """A room."""

    site = forms.ModelChoiceField(label="Site", queryset=Site.objects.order_by("name"), to_field_name="ref")
    name = forms.CharField(label="Name", max_length=60)
    kind = forms.ChoiceField(label="For", choices=RoomKind.choices, initial=RoomKind.MIXED)
    health_group = forms.ModelChoiceField(
        label="Health group",
        queryset=HealthGroup.objects.order_by("name"),
        help_text="animals and tools stay inside one",
    )


class RackForm(forms.Form):
    """A rack with its tubs."""

    room = forms.ModelChoiceField(
        label="Room", queryset=Room.objects.order_by("site__name", "name"), to_field_name="ref"
    )
    name = forms.CharField(label="Name", max_length=40, help_text="such as Rack B")
    levels = forms.IntegerField(label="Levels", min_value=1, max_value=60)
    columns = forms.IntegerField(label="Tubs a level", min_value=1, max_value=60)
    label_prefix = forms.CharField(label="Labels begin with", max_length=12, help_text="3B gives 3B-01, 3B-02 …")


class IncubatorForm(forms.Form):
    """An incubator with its allowed band."""

    room = forms.ModelChoiceField(
        label="Room", queryset=Room.objects.order_by("site__name", "name"), to_field_name="ref"
    )
    name = forms.CharField(label="Name", max_length=40)
    target_c = CelsiusField(label="Set to")
    low_c = CelsiusField(label="Lowest allowed")
    high_c = CelsiusField(label="Highest allowed")


class IncubatorChangeForm(forms.Form):
    """Target and band of an incubator that stands."""

    target_c = CelsiusField(label="Set to")
    low_c = CelsiusField(label="Lowest allowed")
    high_c = CelsiusField(label="Highest allowed")
    is_active = forms.BooleanField(label="In use", required=False)


class ProbeForm(forms.Form):
    """A thermometer in one place."""

    name = forms.CharField(label="Name", max_length=40)
    incubator = forms.ModelChoiceField(
        label="In incubator", queryset=Incubator.objects.order_by("name"), to_field_name="ref", required=False
    )
    rack = forms.ModelChoiceField(
        label="or on rack", queryset=Rack.objects.order_by("room__name", "name"), to_field_name="ref", required=False
    )
    room = forms.ModelChoiceField(
        label="or in room", queryset=Room.objects.order_by("name"), to_field_name="ref", required=False
    )
    low_c = CelsiusField(label="Lowest allowed", required=False, help_text="empty: the incubator's own band")
    high_c = CelsiusField(label="Highest allowed", required=False)
    silent_after_minutes = forms.IntegerField(label="Silent after", min_value=1, max_value=1440, initial=15)

    def clean(self) -> dict[str, Any]:
        """A band has two ends."""
        data = super().clean() or {}
        if (data.get("low_c") is None) != (data.get("high_c") is None):
            self.add_error("high_c", "Give both ends of the band, or neither.")
        return data


class ReadingForm(forms.Form):
    """A reading taken by hand."""

    temp_c = CelsiusField(label="Temperature")
    at = MomentField(
        label="Read at",
        required=False,
        help_text="empty for now",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
    )

    def clean_at(self) -> datetime:
        """Now when nothing was typed."""
        typed: datetime | None = self.cleaned_data.get("at")
        return typed or clock.now()
