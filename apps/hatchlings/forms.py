"""Forms of the hatch room."""

from __future__ import annotations

from typing import Any

from django import forms

from apps.animals.choices import Sex
from apps.hatchlings.selectors import PossibleYoung


class MassField(forms.FloatField):
    """Grams with comma or point."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})

    def to_python(self, value: object) -> float | None:  # type: ignore[override]
        """``66.5`` and ``66,5``."""
        return super().to_python(str(value or "").strip().replace(",", "."))


class HatchForm(forms.Form):
    """One egg that hatched."""

    sex = forms.ChoiceField(label="Sex", choices=Sex.choices, initial=Sex.UNKNOWN)
    mass_g = MassField(label="Mass", required=False, min_value=0.1)
    look = forms.ChoiceField(label="Looks like", required=False)
    traits = forms.CharField(
        label="Or write what is seen", max_length=200, required=False, help_text="as the trade writes it"
    )
    code = forms.CharField(label="Code", max_length=30, required=False, help_text="empty: the next free one")
    tub = forms.CharField(label="Tub", max_length=20, required=False)
    letter = forms.CharField(label="Twin letter", max_length=1, required=False)

    def __init__(self, *args: Any, possible: PossibleYoung, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", "not identified yet")]
        choices += [(row.look, f"{row.look} ({row.probability:.0%})") for row in possible.looks[:60]]
        self.fields["look"].choices = choices  # type: ignore[attr-defined]

    def seen(self) -> str:
        """What the person says it looks like: the written words stand over the list."""
        return str(self.cleaned_data["traits"].strip() or self.cleaned_data["look"])


class IdentifyForm(forms.Form):
    """What a hatchling looks like."""

    traits = forms.CharField(label="Looks like", max_length=200, required=False, help_text="empty or normal: no trait")


class LitterForm(forms.Form):
    """A litter of a live-bearer."""

    born_at = forms.DateTimeField(
        label="Born", widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    )
    alive = forms.IntegerField(label="Alive", min_value=0, max_value=100)
    stillborn = forms.IntegerField(label="Stillborn", min_value=0, max_value=100, initial=0)
    slugs = forms.IntegerField(label="Slugs", min_value=0, max_value=100, initial=0)
