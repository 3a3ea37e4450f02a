"""One search over codes, names, traits, tubs, broods and, for those who may, buyers, orders and parcels."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Case, IntegerField, Q, Value, When
from django.db.models.functions import Lower

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.models import Animal, Brood
from apps.animals.selectors import animal_by_code
from apps.core.codes import code_key
from apps.inventory.models import Buyer, Order
from apps.places.models import Tub
from apps.shipping.models import Parcel

SHOWN = 50
SHORTEST = 2
LONGEST = 120


@dataclass(slots=True)
class Found:
    """What answers to the words. ``exact`` is the one animal that is meant beyond doubt."""

    words: str
    exact: Animal | None = None
    animals: list[Animal] = field(default_factory=list)
    more_animals: bool = False
    tubs: list[Tub] = field(default_factory=list)
    broods: list[Brood] = field(default_factory=list)
    buyers: list[Buyer] = field(default_factory=list)
    orders: list[Order] = field(default_factory=list)
    parcels: list[Parcel] = field(default_factory=list)
    problem: str = ""

    @property
    def count(self) -> int:
        """How many things were found."""
        lists = (self.animals, self.tubs, self.broods, self.buyers, self.orders, self.parcels)
        return sum(len(found) for found in lists)


def search(person: Person, typed: str) -> Found:
    """Find by anything a person may type or a label reader sends; at most 50 of a kind, six queries."""
    words = " ".join(typed.replace("\x00", " ").split())[:LONGEST]
    found = Found(words)
    if not words:
        return found
    found.exact = animal_by_code(words)
    if len(words) < SHORTEST and found.exact is None:
        found.problem = "Type at least two characters."
        return found
    key = code_key(words)
    every = Q()
    for word in words.split():
        every &= Q(code_key__icontains=code_key(word)) | Q(name__icontains=word) | Q(traits__icontains=word)
    whole = Q(code_key=key) | Q(name__iexact=words)
    rows = (
        Animal.objects.filter(every | Q(tub__label__iexact=words))
        .select_related("species", "tub")
        .annotate(
            rank=Case(
                When(whole, then=Value(0)),
                When(status="here", then=Value(1)),
                default=Value(2),
                output_field=IntegerField(),
            ),
            low=Lower("code"),
        )
        .order_by("rank", "low")[: SHOWN + 1]
    )
    found.animals = list(rows)
    if len(found.animals) > SHOWN:
        found.animals, found.more_animals = found.animals[:SHOWN], True
    found.tubs = list(Tub.objects.filter(label__istartswith=words).select_related("rack__room").order_by("label")[:10])
    found.broods = list(Brood.objects.filter(code_key__icontains=key).select_related("dam").order_by("-on")[:20])
    number = int(words) if words.isdigit() and len(words) < 10 else None
    if may(person, Permission.MONEY_READ):
        found.buyers = list(
            Buyer.objects.filter(erased_at__isnull=True)
            .filter(Q(name__icontains=words) | Q(email__iexact=words) | Q(phone__icontains=words))
            .order_by("name")[:20]
        )
        if number is not None:
            found.orders = list(Order.objects.filter(number=number).select_related("buyer"))
    if number is not None and may(person, Permission.PARCELS_EDIT):
        found.parcels = list(Parcel.objects.filter(number=number))
    return found
