"""Every importer by kind, in the order in which a new facility needs them."""

from __future__ import annotations

from typing import Any

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.services.imports import AnimalsImporter
from apps.breeding.services.imports import CycleImporter, ScanImporter, VisitImporter
from apps.care.services.imports import MealsImporter, WeightsImporter
from apps.core.exchange import Importer
from apps.places.services.imports import RacksImporter

IMPORTERS: dict[str, type[Importer[Any]]] = {
    importer.kind: importer
    for importer in (
        RacksImporter,
        AnimalsImporter,
        WeightsImporter,
        MealsImporter,
        ScanImporter,
        VisitImporter,
        CycleImporter,
    )
}

# Beside the right to import: what a file of this kind writes. Asked before anything is read.
NEEDS: dict[str, Permission] = {
    RacksImporter.kind: Permission.PLACES_EDIT,
    AnimalsImporter.kind: Permission.ANIMALS_EDIT,
    WeightsImporter.kind: Permission.CARE_RECORD,
    MealsImporter.kind: Permission.CARE_RECORD,
    ScanImporter.kind: Permission.SCANS_RECORD,
    VisitImporter.kind: Permission.VISITS_RECORD,
    CycleImporter.kind: Permission.SEASONS_EDIT,
}


def importers_of(person: Person) -> dict[str, type[Importer[Any]]]:
    """The kinds of file this person may import."""
    return {kind: importer for kind, importer in IMPORTERS.items() if may(person, NEEDS[kind])}
