"""Forms of selling. Money is typed as people write it; services keep minor units."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import QuerySet

from apps.accounts.forms import MoneyField
from apps.core.units import money_text
from apps.inventory.choices import EntryKind, Fulfilment, PayMethod, ReservationState
from apps.inventory.models import Buyer, Offer
from apps.inventory.selectors import buyers


class OfferForm(forms.Form):
    """An animal at a price."""

    animal = forms.CharField(label="Animal", max_length=60, help_text="code or label")
    price = MoneyField(label="Price")
    wording = forms.CharField(label="Wording", max_length=200, required=False, help_text="empty: its traits")


class PriceForm(forms.Form):
    """Another price."""

    price = MoneyField(label="Price")


class BuyerChoice(forms.ModelChoiceField[Buyer]):
    """Buyers by name, told apart by city."""

    def label_from_instance(self, obj: Buyer) -> str:
        """``Ada Linwood, Minneapolis``"""
        return f"{obj.name}, {obj.city}" if obj.city else obj.name


def buyer_queryset() -> QuerySet[Buyer]:
    """Buyers that can be chosen."""
    return buyers()


class ReserveForm(forms.Form):
    """Hold an animal for a buyer."""

    buyer = BuyerChoice(queryset=Buyer.objects.none(), label="Buyer", to_field_name="ref", empty_label="choose")
    days = forms.IntegerField(label="Days", min_value=1, max_value=365, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["buyer"].queryset = buyer_queryset()  # type: ignore[attr-defined]


class BuyerForm(forms.ModelForm[Buyer]):
    """A buyer."""

    class Meta:
        model = Buyer
        fields = ["name", "email", "phone", "street", "city", "county", "state", "postcode", "country", "note"]
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}


class OrderForm(forms.Form):
    """Listed animals sold to a buyer."""

    buyer = BuyerChoice(queryset=Buyer.objects.none(), label="Buyer", to_field_name="ref", empty_label="choose")
    offers = forms.ModelMultipleChoiceField(
        queryset=Offer.objects.none(), label="Animals", to_field_name="ref", widget=forms.CheckboxSelectMultiple
    )
    fulfilment = forms.ChoiceField(label="How it reaches the buyer", choices=Fulfilment.choices)
    shipping = MoneyField(label="Shipping costs", required=False)
    due_on = forms.DateField(label="To be paid by", required=False, widget=forms.DateInput(attrs={"type": "date"}))

    def __init__(self, *args: Any, offers: QuerySet[Offer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["buyer"].queryset = buyer_queryset()  # type: ignore[attr-defined]
        self.fields["offers"].queryset = offers  # type: ignore[attr-defined]
        self.fields["offers"].label_from_instance = offer_words  # type: ignore[attr-defined]


def offer_words(offer: Offer) -> str:
    """``PR-2611, Pastel Clown, 450.00 USD``"""
    looks = offer.wording or offer.animal.traits or "not identified"
    held = [row.buyer.name for row in getattr(offer, "live_reservations", []) if row.state == ReservationState.OPEN]
    words = f", held for {held[0]}" if held else ""
    return f"{offer.animal.code}, {looks}, {money_text(offer.price_minor, offer.currency)}{words}"


class PaymentForm(forms.Form):
    """Money in."""

    amount = MoneyField(label="Amount")
    kind = forms.ChoiceField(label="Kind", choices=[(k.value, k.value) for k in (EntryKind.PAYMENT, EntryKind.DEPOSIT)])
    method = forms.ChoiceField(label="Method", choices=PayMethod.choices)


class RefundForm(forms.Form):
    """Money out."""

    amount = MoneyField(label="Amount")
    kind = forms.ChoiceField(label="Kind", choices=[(k.value, k.value) for k in (EntryKind.REFUND, EntryKind.CREDIT)])
    method = forms.ChoiceField(label="Method", choices=PayMethod.choices)


class CancelForm(forms.Form):
    """Why an order falls through."""

    reason = forms.CharField(label="Reason", max_length=160)
