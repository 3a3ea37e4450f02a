"""Forms of shipping."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from apps.core import clock
from apps.core.errors import DomainError
from apps.core.units import read_decimal
from apps.inventory.models import OrderLine
from apps.shipping.models import Hub, Parcel
from apps.shipping.pages.verdicts import weekday_words
from apps.shipping.selectors.knowledge import shipped_policy

# What a file begins with: a permit is kept as it is, so it must be something that opens.
PERMIT_TYPES = {b"%PDF": "application/pdf", b"\xff\xd8\xff": "image/jpeg", b"\x89PNG": "image/png"}


class PlanForm(forms.Form):
    """Sold animals of one order, and the staffed counter where the buyer picks them up."""

    animals = forms.MultipleChoiceField(label="Animals", widget=forms.CheckboxSelectMultiple)
    name = forms.CharField(label="Counter", max_length=120, required=False, help_text="a staffed counter, no porch")
    street = forms.CharField(label="Street", max_length=160, required=False)
    city = forms.CharField(label="City", max_length=80)
    county = forms.CharField(label="County", max_length=80, required=False, help_text="some law is county law")
    state = forms.CharField(label="State", max_length=40, help_text="two letters, such as MN")
    postcode = forms.CharField(label="Postcode", max_length=12)
    country = forms.CharField(label="Country", min_length=2, max_length=2, initial="US")
    zone = forms.ChoiceField(label="Clock of the counter", required=False)
    hub = forms.ModelChoiceField[Hub](
        queryset=Hub.objects.none(), label="Through", required=False, to_field_name="ref", empty_label="direct"
    )

    def __init__(self, *args: Any, lines: Iterable[OrderLine], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        zones = sorted(set(shipped_policy().zone_of_state.values()))
        self.fields["animals"].choices = [  # type: ignore[attr-defined]
            (line.animal.ref, f"{line.animal.code}, {line.wording or 'normal'}, {line.animal.sex}") for line in lines
        ]
        self.fields["zone"].choices = [("", "as in most of its state"), *((zone, zone) for zone in zones)]  # type: ignore[attr-defined]
        self.fields["hub"].queryset = Hub.objects.order_by("name")  # type: ignore[attr-defined]

    def clean_state(self) -> str:
        """Two letters are written large: law and zones are kept under them."""
        text: str = self.cleaned_data["state"].strip()
        return text.upper() if len(text) == 2 else text

    def clean_country(self) -> str:
        """Two letters."""
        text: str = self.cleaned_data["country"]
        return text.strip().upper()

    def clean(self) -> dict[str, Any]:
        """The zone follows the state unless one is chosen."""
        data = super().clean() or self.cleaned_data
        if not data.get("zone") and data.get("state"):
            zone = shipped_policy().zone_of_state.get(data["state"])
            if zone is None:
                self.add_error("zone", f"No clock is known for “{data['state']}”. Choose the counter's own.")
            else:
                data["zone"] = zone
        return data


class DayForm(forms.Form):
    """A day to book."""

    day = forms.TypedChoiceField(label="Day", coerce=date.fromisoformat)

    def __init__(self, *args: Any, days: Sequence[date], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].choices = [(day.isoformat(), weekday_words(day)) for day in days]  # type: ignore[attr-defined]


class ReleaseForm(forms.Form):
    """A named person lets a parcel go on a day that is not go."""

    day = forms.TypedChoiceField(label="Day", coerce=date.fromisoformat)
    reason = forms.CharField(
        label="Why", max_length=300, widget=forms.Textarea(attrs={"rows": 2}), help_text="stands on the record"
    )
    permit = forms.FileField(
        label="Permit",
        required=False,
        help_text="only against a block by law: PDF, JPEG or PNG",
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}),
    )

    def __init__(self, *args: Any, days: Sequence[tuple[date, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].choices = [(day.isoformat(), words) for day, words in days]  # type: ignore[attr-defined]

    def clean_permit(self) -> UploadedFile[Any] | None:
        """Something that opens. Its kind is read from its first bytes, not from its name."""
        found: UploadedFile[Any] | None = self.cleaned_data["permit"]
        if found is None:
            return None
        if permit_type(found) is None:
            raise forms.ValidationError("This is no PDF, JPEG or PNG. Scan the permit and choose that file.")
        return found


def permit_type(found: UploadedFile[Any]) -> str | None:
    """The type of an uploaded permit from its first bytes; None for anything else."""
    found.seek(0)
    head = found.read(8)
    found.seek(0)
    return next((mime for begins, mime in PERMIT_TYPES.items() if head.startswith(begins)), None)


class ReasonForm(forms.Form):
    """Why a parcel is held or called off."""

    reason = forms.CharField(label="Why", max_length=160)


class HandOverForm(forms.Form):
    """The carrier has it."""

    tracking = forms.CharField(label="Tracking number", max_length=60, required=False)


class ArriveForm(forms.Form):
    """The arrival report."""

    arrived_at = forms.DateTimeField(
        label="Arrived",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="the facility's clock",
    )
    alive = forms.IntegerField(label="Alive", min_value=0, max_value=1000)
    dead = forms.IntegerField(label="Dead", min_value=0, max_value=1000, initial=0)
    inside_c = forms.CharField(label="Inside on opening, °C", max_length=8, required=False)
    told_by = forms.CharField(label="Told by", max_length=80)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def clean_inside_c(self) -> float | None:
        """Comma or dot."""
        text: str = self.cleaned_data["inside_c"]
        if not text:
            return None
        try:
            return float(read_decimal(text, field="inside_c", unit="°C"))
        except DomainError as error:
            raise forms.ValidationError(error.message) from None


def arrive_initial(parcel: Parcel, count: int) -> dict[str, Any]:
    """Everybody alive, now, told by the consignee: what is usual, to be changed."""
    return {"arrived_at": clock.local(clock.now()), "alive": count, "dead": 0, "told_by": parcel.consignee_name}
