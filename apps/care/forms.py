"""Forms of daily care. Services check everything again; forms only read what was typed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from apps.accounts.models import Person
from apps.care.choices import (
    BodyShape,
    DoseOutcome,
    DueKind,
    HealthResult,
    HealthSign,
    MarkKind,
    MealOutcome,
    Presentation,
    PreyKind,
    SampleKind,
    ShedStage,
    SkipReason,
    StrikeReason,
    TaskKind,
    TreatmentEnd,
    Vigour,
)
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.units import read_grams
from apps.places.selectors import places_named

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class GramsField(forms.FloatField):
    """Grams as people type them: a comma is a decimal sign, and one that may mean thousands is asked about."""

    def __init__(self, **kwargs: Any) -> None:
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        super().__init__(widget=forms.TextInput(attrs=attrs), **kwargs)
        self.unit = "g"

    def to_python(self, value: object) -> float | None:  # type: ignore[override]
        """``1743``, ``1743,5``, ``1743 g``, ``12,5 kg``, and the line a scale types: ``ST,GS,+  174.3g``."""
        typed = str(value or "").strip()
        if not typed:
            return super().to_python("")
        try:
            return read_grams(typed, field="mass_g")
        except Invalid as error:
            raise forms.ValidationError(error.message, code="invalid") from None


class MomentField(forms.DateTimeField):
    """A moment as the facility's own clock shows it."""

    def to_python(self, value: Any) -> datetime | None:
        """Read in the facility's zone, whatever zone the server runs in."""
        with timezone.override(clock.zone()):
            return super().to_python(value)


class SeenForm(forms.Form):
    """When it was seen, where that is not now."""

    observed_at = MomentField(
        label="Seen at",
        required=False,
        help_text="empty for now",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"],
    )


class WeightForm(SeenForm):
    """A weight."""

    mass_g = GramsField(label="Weight")
    doubtful = forms.BooleanField(label="Keep as read, marked doubtful", required=False)
    despite_hold = forms.BooleanField(label="It was weighed all the same", required=False)
    stated_check = forms.BooleanField(label="The stated check after ovulation", required=False)


class OfferForm(SeenForm):
    """Food put in."""

    prey = forms.ChoiceField(label="Prey", choices=PreyKind.choices)
    size = forms.CharField(label="Size", max_length=20, required=False)
    prey_g = GramsField(label="Mass of one", required=False)
    count = forms.IntegerField(label="How many", min_value=1, max_value=200, initial=1)
    presentation = forms.ChoiceField(label="How", choices=Presentation.choices)
    despite_hold = forms.BooleanField(label="It was offered all the same", required=False)


class CheckForm(SeenForm):
    """What became of a meal."""

    offer = forms.CharField(max_length=36, widget=forms.HiddenInput)
    outcome = forms.ChoiceField(label="Outcome", choices=MealOutcome.choices)
    vigour = forms.ChoiceField(label="How it took it", choices=[("", "not noted"), *Vigour.choices], required=False)


class ShedForm(SeenForm):
    """Opaque eyes or a shed."""

    stage = forms.ChoiceField(label="Shed", choices=ShedStage.choices)
    complete = forms.NullBooleanField(label="In one piece", required=False)
    is_pre_lay = forms.BooleanField(label="Pre-lay shed", required=False)


class MarkForm(SeenForm):
    """Water, cleaned, droppings."""

    kind = forms.ChoiceField(choices=MarkKind.choices)


class ConditionForm(SeenForm):
    """Body shape."""

    seen = forms.ChoiceField(label="Body shape", choices=BodyShape.choices)


class NoteForm(SeenForm):
    """A health note."""

    signs = forms.MultipleChoiceField(
        label="Signs", choices=HealthSign.choices, required=False, widget=forms.CheckboxSelectMultiple
    )
    text = forms.CharField(
        label="What was seen", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )


class PhotoForm(SeenForm):
    """A photograph."""

    photo = forms.FileField(
        label="Photograph",
        help_text="JPEG, PNG or WebP, at most 20 MB; only its pixels are kept",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp", "capture": "environment"}),
    )
    caption = forms.CharField(label="Caption", max_length=120, required=False)


class StrikeForm(forms.Form):
    """Why an entry is struck out."""

    reason = forms.ChoiceField(label="Reason", choices=[("", "taken back"), *StrikeReason.choices], required=False)


class RackOfferForm(SeenForm):
    """What a rack is offered."""

    prey = forms.ChoiceField(label="Prey", choices=PreyKind.choices)
    size = forms.CharField(label="Size", max_length=20, required=False)
    prey_g = GramsField(label="Mass of one", required=False)
    count = forms.IntegerField(label="How many each", min_value=1, max_value=200, initial=1)
    presentation = forms.ChoiceField(label="How", choices=Presentation.choices)


class HealthTestForm(SeenForm):
    """A sample taken."""

    kind = forms.ChoiceField(label="What was taken", choices=[(one, one) for one in SampleKind.values])
    wanted = forms.CharField(label="Tested for", max_length=120, required=False)
    laboratory = forms.CharField(label="Laboratory", max_length=80, required=False)


class ResultForm(forms.Form):
    """What came back."""

    test = forms.CharField(widget=forms.HiddenInput)
    result = forms.ChoiceField(
        label="Result", choices=[(one, one) for one in HealthResult.values if one != HealthResult.WAITING]
    )
    on = forms.DateField(label="Came on", required=False, help_text="empty for today", widget=DAY)
    text = forms.CharField(label="As the laboratory words it", max_length=2000, required=False)


class TreatmentForm(forms.Form):
    """What a veterinarian prescribed."""

    veterinarian = forms.CharField(label="Prescribed by", max_length=80)
    medicine = forms.CharField(label="Medicine", max_length=120, help_text="as it stands on the prescription")
    dose = forms.CharField(
        label="Dose, word for word",
        max_length=500,
        help_text="amount and way, copied from the prescription",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    first_due_at = MomentField(
        label="First dose",
        required=False,
        help_text="empty for now",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
    )
    doses = forms.IntegerField(label="Doses in all", min_value=1, max_value=200, initial=1)
    every_h = forms.FloatField(
        label="Hours between two", required=False, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )


class DoseForm(forms.Form):
    """A due dose given, or skipped with the reason."""

    due = forms.IntegerField(widget=forms.HiddenInput)
    outcome = forms.ChoiceField(choices=DoseOutcome.choices)
    reason = forms.CharField(label="Why skipped", max_length=160, required=False)


class TreatmentEndForm(forms.Form):
    """Why a treatment is over."""

    treatment = forms.CharField(widget=forms.HiddenInput)
    why = forms.ChoiceField(label="Because", choices=[(one, one) for one in TreatmentEnd.values])


class ReleaseForm(forms.Form):
    """A quarantine to release."""

    hold = forms.CharField(widget=forms.HiddenInput)
    why = forms.CharField(label="Why", max_length=160, required=False, help_text="needed before its days are over")


class SkipForm(SeenForm):
    """Due work left today."""

    kind = forms.ChoiceField(label="What", choices=[("", "everything due here"), *DueKind.choices], required=False)
    reason = forms.ChoiceField(label="Why", choices=SkipReason.choices)
    words = forms.CharField(label="Words", max_length=120, required=False)


class DoseActForm(SeenForm):
    """A prescribed dose given, or skipped with the reason."""

    due = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**63 - 1)
    outcome = forms.ChoiceField(label="Outcome", choices=DoseOutcome.choices)
    reason = forms.CharField(label="Why it was skipped", max_length=160, required=False)


class RoundCloseForm(forms.Form):
    """Words for whoever walks next."""

    note = forms.CharField(
        label="For whoever walks next", required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 3})
    )


class TaskSkipForm(forms.Form):
    """A task left this time."""

    reason = forms.ChoiceField(label="Why", choices=SkipReason.choices)
    words = forms.CharField(label="Words", max_length=120, required=False)


class BacklogForm(forms.Form):
    """Why late work is counted from today."""

    reason = forms.CharField(label="Why", max_length=120, help_text="such as: holiday, nobody on the round")


class TaskForm(forms.Form):
    """A new task of one place."""

    kind = forms.ChoiceField(label="What about", choices=TaskKind.choices)
    words = forms.CharField(label="What is to be done", max_length=120)
    place = forms.CharField(
        label="Where", max_length=60, help_text="a tub's label, a rack with its room, a room or a site, as it is named"
    )
    every_days = forms.IntegerField(
        label="Every how many days", required=False, min_value=1, max_value=3660, help_text="empty for once"
    )
    first_on = forms.DateField(
        label="First on", required=False, help_text="empty for today", widget=forms.DateInput(attrs={"type": "date"})
    )
    who = forms.ModelChoiceField(
        label="Who", queryset=Person.objects.none(), required=False, empty_label="whoever is there"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer_people(self.fields["who"])
        self.fields["place"].widget.attrs["list"] = "places"

    def clean_place(self) -> dict[str, Any]:
        """The one place of that name."""
        return place_named(self.cleaned_data["place"])

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        data: dict[str, Any] = dict(self.cleaned_data)
        place: dict[str, Any] = data.pop("place")
        return data | place


class TaskChangeForm(forms.Form):
    """What may be changed of a task."""

    words = forms.CharField(label="What is to be done", max_length=120)
    every_days = forms.IntegerField(
        label="Every how many days", required=False, min_value=1, max_value=3660, help_text="empty for once"
    )
    next_on = forms.DateField(
        label="Next on",
        required=False,
        help_text="empty: as it falls due",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    who = forms.ModelChoiceField(
        label="Who", queryset=Person.objects.none(), required=False, empty_label="whoever is there"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer_people(self.fields["who"])

    def values(self) -> dict[str, Any]:
        """What the service takes; an empty day leaves the day alone."""
        data = dict(self.cleaned_data)
        if data["next_on"] is None:
            del data["next_on"]
        return data


def _offer_people(field: forms.Field) -> None:
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = Person.objects.filter(is_active=True, is_system=False).order_by("name")


def place_named(text: str) -> dict[str, Any]:
    """``{"rack": …}`` for the one tub, rack, room or site of that name. Raises ValidationError."""
    found = places_named(text)
    if len(found) == 1:
        return found[0]
    if found:
        raise forms.ValidationError(f"“{text}” is the name of {len(found)} places. Write “rack, room” or the tub.")
    raise forms.ValidationError(f"There is no place named “{text}”. Write it as its label says.")
