"""``manage.py load_knowledge``: species, numbers and traits from fixtures/reference; repeats change nothing."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from apps.accounts.selectors import system_person
from apps.animals.models import SpeciesNumber, Trait
from apps.animals.services import knowledge_load


class Command(BaseCommand):
    """Load the shipped knowledge."""

    help = "Load species, their numbers and traits from fixtures/reference/; a repeat changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        """Load, and say what is there."""
        species = knowledge_load(by=system_person())
        if options["verbosity"] > 0:
            self.stdout.write(
                f"{len(species)} species, {SpeciesNumber.objects.count()} numbers, {Trait.objects.count()} traits"
            )
