"""What the incubation room does when something happened."""

from __future__ import annotations

from apps.accounts.selectors import system_person
from apps.animals.models import Brood
from apps.incubation.events import BroodBoxed
from apps.incubation.services import hatch_forecast_refresh


def hatch_window(event: BroodBoxed) -> None:
    """Say when the boxed brood hatches."""
    brood = Brood.objects.filter(ref=event.brood_ref).first()
    if brood is not None:
        hatch_forecast_refresh(by=system_person(), brood=brood)
