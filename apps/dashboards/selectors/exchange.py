"""Every importer by kind, in the order in which a new facility needs them."""

from __future__ import annotations

from typing import Any

from apps.animals.services.imports import AnimalsImporter
from apps.breeding.services.imports import ScanImporter, VisitImporter
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
    )
}
