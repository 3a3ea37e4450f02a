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
    """One egg that hatched. The look is ticked from what the parents can give, or written."""

    sex = forms.ChoiceField(
        label="Sex",
        choices=[(Sex.FEMALE, "female"), (Sex.MALE, "male"), (Sex.UNKNOWN, "not yet")],
        initial=Sex.UNKNOWN,
        widget=forms.RadioSelect,
    )
    mass_g = MassField(label="Weight", required=False, min_value=0.1)
    look = forms.ChoiceField(label="What is seen", required=False)
    traits = forms.CharField(label="Something else", max_length=200, required=False, help_text="as the trade writes it")
    tub = forms.CharField(label="Tub", max_length=20, required=False)
    code = forms.CharField(label="Code", max_length=30, required=False, help_text="empty: the next free one")
    letter = forms.CharField(label="Twin letter", max_length=1, required=False, help_text="b for the second of two")
    hatched_at = forms.DateTimeField(
        label="Out at",
        required=False,
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="empty: now",
    )

    def __init__(self, *args: Any, possible: PossibleYoung, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", "not identified yet"), *((row.look, row.look) for row in possible.looks)]
        self.fields["look"].choices = choices  # type: ignore[attr-defined]

    def seen(self) -> str:
        """What the person says it looks like: the written words stand over the list."""
        return str(self.cleaned_data["traits"].strip() or self.cleaned_data["look"])


class SireForm(forms.Form):
    """Who sired a young."""

    sire = forms.CharField(max_length=10)
    why = forms.CharField(max_length=160)


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
