"""Buyers: personal data, kept for the sale, exportable and erasable."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.inventory.choices import OrderState
from apps.inventory.models import Buyer

FIELDS = ("name", "email", "phone", "street", "city", "county", "state", "postcode", "country", "note")


@service("buyer.add", may=Permission.SALES_EDIT)
def buyer_add(
    *,
    by: Person,
    name: str,
    email: str = "",
    phone: str = "",
    street: str = "",
    city: str = "",
    county: str = "",
    state: str = "",
    postcode: str = "",
    country: str = "US",
    note: str = "",
    request_key: str | None = None,
) -> Buyer:
    """Add a buyer. Raises Invalid naming the field."""
    buyer = Buyer(
        name=name.strip(),
        email=email.strip(),
        phone=phone.strip(),
        street=street.strip(),
        city=city.strip(),
        county=county.strip(),
        state=state.strip(),
        postcode=postcode.strip(),
        country=country.strip().upper(),
        note=note.strip(),
        added_at=clock.now(),
    )
    _check(buyer)
    buyer.save()
    audit_write(by=by, act="buyer.add", subject=buyer)
    return buyer


@service("buyer.change", may=Permission.SALES_EDIT)
def buyer_change(*, by: Person, buyer: Buyer, values: dict[str, str], request_key: str | None = None) -> Buyer:
    """Change a buyer's data. Raises Invalid naming the field."""
    changed = [name for name, value in values.items() if name in FIELDS and getattr(buyer, name) != value]
    for name in changed:
        setattr(buyer, name, values[name].strip())
    _check(buyer)
    if changed:
        buyer.save(update_fields=changed)
        # the trail names the fields, not the personal data: that must stay erasable
        audit_write(by=by, act="buyer.change", subject=buyer, label=buyer.ref, detail={"fields": changed})
    return buyer


@service("buyer.erase", may=Permission.PEOPLE_EDIT)
def buyer_erase(*, by: Person, buyer: Buyer, request_key: str | None = None) -> Buyer:
    """Erase personal data; orders and money stay, without a name. Raises WrongState while an order is open."""
    if buyer.orders.exclude(state__in=[OrderState.CLOSED, OrderState.CANCELLED]).exists():
        raise WrongState(f"{buyer.name} has an open order. Close or cancel it first.")
    blank = {name: "" for name in FIELDS if name not in {"name", "country"}}
    Buyer.objects.filter(pk=buyer.pk).update(name="erased", erased_at=clock.now(), **blank)
    audit_write(by=by, act="buyer.erase", subject=buyer, label=buyer.ref)
    return Buyer.objects.get(pk=buyer.pk)


def _check(buyer: Buyer) -> None:
    if not buyer.name:
        raise Invalid("A buyer needs a name.", field="name")
    if buyer.email:
        try:
            validate_email(buyer.email)
        except ValidationError:
            raise Invalid(
                f"“{buyer.email}” is not an e-mail address. Write it as name@example.com.", field="email"
            ) from None
    if len(buyer.country) != 2:
        raise Invalid("Write the country as two letters, such as US.", field="country")
