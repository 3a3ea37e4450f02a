"""Forms of the pages that read across the house.

What a correction asks for is read by GET and shows what would change; only the act itself (POST) does it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from apps.animals.forms import AnimalField, MomentField, TubField

Choices = Sequence[tuple[str, str]]


class SwapForm(forms.Form):
    """Two tubs exchanged."""

    second = AnimalField(label="The other animal", help_text="its code, or scan the card in the other drawer")
    since = MomentField(label="Exchanged at", help_text="the cleaning or move after which both were wrong")
    put_back = forms.BooleanField(label="Both are back in their own tubs now", required=False)


class FactsForm(forms.Form):
    """Entries of another animal."""

    second = AnimalField(label="They belong to", help_text="its code, or scan its card")
    facts = forms.MultipleChoiceField(label="Entries", widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, entries: Choices = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["facts"].choices = list(entries)  # type: ignore[attr-defined]


class MergeForm(forms.Form):
    """The same animal twice."""

    second = AnimalField(label="The other record", help_text="its code stays as another name of this animal")


class MissingForm(forms.Form):
    """Nothing is asked: the animal is not in its tub."""


class FoundForm(forms.Form):
    """Found again."""

    tub = TubField(label="It is in tub now", help_text="label of the tub, or scan it")


class SireForm(forms.Form):
    """The right sire."""

    second = AnimalField(label="The right sire", help_text="his code, or scan his card")
    whole_brood = forms.BooleanField(label="All young of its brood", required=False)


class DecisionForm(forms.Form):
    """Why a kept entry is recorded or discarded."""

    note = forms.CharField(label="Reason", max_length=200, help_text="what is known about it")
