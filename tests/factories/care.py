"""Facts of care, made through the services a person would use."""

from __future__ import annotations

from datetime import timedelta
from io import BytesIO

from PIL import Image

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.choices import MealOutcome
from apps.care.models import MealOffer, Weight
from apps.care.services import meal_check, meal_offer, weight_record
from apps.core import clock


def weighed(by: Person, animal: Animal, mass_g: float, days_ago: float = 0) -> Weight:
    """A weight some days ago."""
    return weight_record(by=by, animal=animal, mass_g=mass_g, observed_at=clock.now() - timedelta(days=days_ago))


def offered(by: Person, animal: Animal, hours_ago: float = 0, **prey: object) -> MealOffer:
    """Food put in some hours ago; a small thawed rat unless said otherwise."""
    values: dict[str, object] = {"prey": "rat", "size": "small", "prey_g": 60.0, **prey}
    moment = clock.now() - timedelta(hours=hours_ago)
    return meal_offer(by=by, animal=animal, observed_at=moment, **values)  # type: ignore[arg-type]


def fed(by: Person, animal: Animal, days_ago: float, outcome: MealOutcome = MealOutcome.ATE) -> MealOffer:
    """A whole meal some days ago: offered, and checked two hours later."""
    offer = offered(by, animal, hours_ago=days_ago * 24)
    meal_check(
        by=by, offer=offer, outcome=outcome, observed_at=min(offer.observed_at + timedelta(hours=2), clock.now())
    )
    return offer


def photograph(side: int = 40, kind: str = "PNG") -> bytes:
    """A small real picture."""
    out = BytesIO()
    Image.new("RGB", (side, side), (120, 90, 60)).save(out, kind)
    return out.getvalue()
