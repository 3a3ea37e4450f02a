"""``manage.py refresh_beliefs``: work out anew what every animal carries; repeats change nothing."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from apps.accounts.selectors import system_person
from apps.animals.models import CarriedBelief, LineageDoubt
from apps.animals.selectors import all_species
from apps.animals.services import beliefs_refresh_species


class Command(BaseCommand):
    """Refresh all beliefs."""

    help = (
        "Work out anew what every animal carries, from all that is recorded of its relatives; a repeat changes nothing."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        """Refresh, and say what stands."""
        for species in all_species():
            beliefs_refresh_species(by=system_person(), species=species)
        if options["verbosity"] > 0:
            open_doubts = LineageDoubt.objects.filter(settled_at__isnull=True).count()
            self.stdout.write(f"{CarriedBelief.objects.count()} beliefs, {open_doubts} young that do not fit")
