"""Forms of the incubation room."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from django import forms

from apps.core import clock
from apps.incubation.choices import CheckKind, Finding
from apps.incubation.models import Egg
from apps.places.models import Incubator, Room
from apps.places.selectors import incubators_active


class DecimalField(forms.FloatField):
    """A number with comma or point as the decimal sign."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})

    def to_python(self, value: object) -> float | None:  # type: ignore[override]
        """``31.5`` and ``31,5``."""
        return super().to_python(str(value or "").strip().replace(",", "."))


class LayForm(forms.Form):
    """A clutch."""

    laid_at = forms.DateTimeField(
        label="Laying began",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="the facility's clock",
    )
    eggs = forms.IntegerField(label="Good eggs", min_value=0, max_value=100)
    slugs = forms.IntegerField(label="Slugs", min_value=0, max_value=100, initial=0)
    finished_at = forms.DateTimeField(
        label="Laying finished",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="empty: as begun",
    )
    masses = forms.CharField(
        label="Mass of each egg, g",
        required=False,
        help_text="one for each good egg, with blanks between: 92 88,5 94. Leave empty when not weighed.",
    )

    def clean_masses(self) -> list[float | None]:
        """The masses as numbers."""
        words = re.split(r"[;\s]+", self.cleaned_data["masses"].strip())
        found: list[float | None] = []
        for word in words:
            if not word:
                continue
            try:
                found.append(float(word.replace(",", ".")))
            except ValueError:
                raise forms.ValidationError(f"“{word}” is not a number of grams.") from None
        return found


class BoxForm(forms.Form):
    """A box of a brood's collected eggs."""

    incubator = forms.ModelChoiceField(queryset=Incubator.objects.none(), label="Incubator", empty_label=None)
    eggs = forms.MultipleChoiceField(label="Eggs", widget=forms.CheckboxSelectMultiple)
    shelf = forms.CharField(label="Shelf", max_length=20, required=False)
    substrate = forms.CharField(label="Substrate", max_length=40, required=False)
    water_ratio = DecimalField(label="Water to dry substrate", required=False, help_text="by weight, such as 0.9")

    def __init__(self, *args: Any, eggs: Iterable[Egg], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(egg.ref, f"egg {egg.number}") for egg in eggs]
        self.fields["incubator"].queryset = incubators_active()  # type: ignore[attr-defined]
        self.fields["eggs"].choices = choices  # type: ignore[attr-defined]
        self.fields["eggs"].initial = [ref for ref, _ in choices]


class CheckForm(forms.Form):
    """A look at one egg."""

    egg = forms.ChoiceField(label="Egg")
    kind = forms.ChoiceField(label="What was done", choices=CheckKind.choices)
    finding = forms.ChoiceField(label="Seen", choices=[("", "nothing to say"), *Finding.choices], required=False)
    mass_g = DecimalField(label="Mass, g", required=False)
    note = forms.CharField(label="Note", max_length=160, required=False)

    def __init__(self, *args: Any, eggs: Iterable[Egg], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["egg"].choices = [(egg.ref, f"egg {egg.number}") for egg in eggs]  # type: ignore[attr-defined]


class IncubatorForm(forms.Form):
    """An incubator."""

    name = forms.CharField(label="Name", max_length=40)
    room = forms.ModelChoiceField(queryset=Room.objects.order_by("walk_order"), label="Room", empty_label=None)
    target_c = DecimalField(label="Target, °C")
    low_c = DecimalField(label="Lowest allowed, °C")
    high_c = DecimalField(label="Highest allowed, °C")


class IncubatorChangeForm(forms.Form):
    """Target, band and use of an incubator that stands."""

    target_c = DecimalField(label="Target, °C")
    low_c = DecimalField(label="Lowest allowed, °C")
    high_c = DecimalField(label="Highest allowed, °C")
    is_active = forms.BooleanField(label="In use", required=False)


class ProbeForm(forms.Form):
    """A probe in an incubator."""

    name = forms.CharField(label="Name", max_length=40)
    incubator = forms.ModelChoiceField(queryset=Incubator.objects.none(), label="Incubator", empty_label=None)
    silent_after_minutes = forms.IntegerField(
        label="Silent after, minutes", min_value=1, max_value=1440, initial=15, help_text="without a reading"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["incubator"].queryset = incubators_active()  # type: ignore[attr-defined]


def local_now() -> str:
    """Now, as a datetime-local field wants it."""
    return clock.local(clock.now()).strftime("%Y-%m-%dT%H:%M")
