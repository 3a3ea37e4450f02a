"""Forms of the pages that read across the house."""

from __future__ import annotations

from django import forms


class DecisionForm(forms.Form):
    """Why a kept entry is recorded or discarded."""

    note = forms.CharField(label="Reason", max_length=200, help_text="what is known about it")
