"""Forms of people and settings."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from apps.accounts.choices import Role
from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility
from apps.accounts.services import sign_in_refused, sign_in_waits
from apps.core.errors import DomainError
from apps.core.units import from_minor, minor_digits, read_decimal, to_minor


class MoneyField(forms.CharField):
    """An amount in the facility's currency, as integer minor units."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}))
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Any:
        """``450``, ``450.00`` and ``450,00``."""
        text = super().to_python(value)
        if not text:
            return None
        try:
            return to_minor(read_decimal(text, field="amount", unit=facility().currency), facility().currency)
        except DomainError as error:
            raise forms.ValidationError(error.message) from None

    def prepare_value(self, value: Any) -> Any:
        """Minor units as an amount; typed text stays as typed."""
        if isinstance(value, int):
            return f"{from_minor(value, facility().currency):.{minor_digits(facility().currency)}f}"
        return value


class SignInForm(AuthenticationForm):
    """E-mail and password."""

    username = forms.EmailField(
        label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True, "autocomplete": "username"})
    )
    error_messages = {
        # one sentence for all three, so that it tells nobody who has an account
        "invalid_login": "E-mail and password do not match, or there were ten wrong passwords: "
        "then sign-in opens again after 15 minutes. Mind capitals in the password.",
        "inactive": "This account is closed. Ask the owner.",
    }

    def clean_username(self) -> str:
        """Addresses are kept in small letters."""
        return str(self.cleaned_data["username"]).strip().lower()

    def clean(self) -> dict[str, Any]:
        """Django's check, and the wait after too many wrong passwords."""
        person = Person.objects.filter(email=self.cleaned_data.get("username") or "").first()
        try:
            # the password is hashed in any case: how long it takes tells nothing
            cleaned: dict[str, Any] = super().clean()
        except forms.ValidationError:
            if person is not None:
                sign_in_refused(person=person)
            raise
        if person is not None and sign_in_waits(person=person):
            raise self.get_invalid_login_error()
        return cleaned


class PinForm(forms.Form):
    """Who takes the tablet, and the PIN."""

    person = forms.CharField(max_length=10)
    pin = forms.CharField(
        label="PIN",
        max_length=8,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "pattern": "[0-9]*"}),
    )


class PinSetForm(forms.Form):
    """One's own PIN."""

    pin = forms.CharField(
        label="New PIN",
        max_length=8,
        help_text="4 to 8 digits, for shared tablets",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class PasswordForm(forms.Form):
    """One's own new password, with the old one to be sure who asks."""

    old = forms.CharField(
        label="Password now", widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}), strip=False
    )
    new = forms.CharField(
        label="New password",
        help_text="at least 10 characters",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )


class GivenPasswordForm(forms.Form):
    """A password that an owner gives somebody who forgot theirs."""

    new = forms.CharField(
        label="New password",
        help_text="at least 10 characters; tell the person to change it",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )


class PersonForm(forms.Form):
    """Somebody new."""

    name = forms.CharField(label="Name", max_length=80)
    email = forms.EmailField(label="E-mail")
    password = forms.CharField(
        label="First password",
        help_text="at least 10 characters",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        strip=False,
    )
    roles = forms.MultipleChoiceField(
        label="Roles",
        choices=[(role.value, role.value) for role in Role],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class RolesForm(forms.Form):
    """The roles somebody holds."""

    roles = forms.MultipleChoiceField(
        label="Roles",
        choices=[(role.value, role.value) for role in Role],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class FacilityForm(forms.ModelForm[Facility]):
    """Facility settings. It writes on its instance while it checks: never hand it the cached row."""

    refund_limit_minor = MoneyField(
        label="Refunds by sales, at most", help_text="in the facility's currency; above it an owner decides"
    )

    class Meta:
        model = Facility
        fields = [
            "name",
            "address",
            "city",
            "county",
            "state",
            "postcode",
            "country",
            "phone",
            "night_phone",
            "email",
            "time_zone",
            "day_starts_at_hour",
            "fahrenheit_first",
            "currency",
            "reservation_days",
            "refund_limit_minor",
            "idle_lock_minutes",
            "paper",
        ]
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}
        labels = {
            "night_phone": "Phone at night",
            "email": "E-mail",
            "day_starts_at_hour": "The day starts at",
            "fahrenheit_first": "Fahrenheit before Celsius",
            "reservation_days": "A reservation holds",
            "idle_lock_minutes": "A shared tablet locks after",
        }
        help_texts = {
            "country": "two letters, such as US",
            "time_zone": "such as America/New_York",
            "day_starts_at_hour": "full hour, 0 to 23: work before it belongs to the day before",
            "currency": "three letters, such as USD",
            "reservation_days": "days",
            "idle_lock_minutes": "minutes without a touch",
        }


class DeviceForm(forms.Form):
    """A shared tablet."""

    name = forms.CharField(label="Name", max_length=80, help_text="such as “Barn tablet”")
