"""Forms of people and settings."""

from __future__ import annotations

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from apps.accounts.choices import Role
from apps.accounts.models import Facility


class SignInForm(AuthenticationForm):
    """E-mail and password."""

    username = forms.EmailField(label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True}))
    error_messages = {
        "invalid_login": "E-mail and password do not match. Mind capitals in the password.",
        "inactive": "This account is closed. Ask the owner.",
    }


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


class PersonForm(forms.Form):
    """Somebody new."""

    name = forms.CharField(label="Name", max_length=80)
    email = forms.EmailField(label="E-mail")
    password = forms.CharField(
        label="First password", help_text="at least 10 characters", widget=forms.PasswordInput(render_value=False)
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
    """Facility settings."""

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


class DeviceForm(forms.Form):
    """A shared tablet."""

    name = forms.CharField(label="Name", max_length=80, help_text="such as “Barn tablet”")
