"""Seasons, cycles, scan rounds, scans and visits through the API."""

from __future__ import annotations

from rest_framework.viewsets import ViewSetMixin

from apps.breeding.api.cards import TubCardViewSet
from apps.breeding.api.rota import RotaLineViewSet, RotaViewSet, RotaWishViewSet
from apps.breeding.api.rounds import ScanRoundViewSet, ScanViewSet
from apps.breeding.api.seasons import CycleViewSet, SeasonViewSet
from apps.breeding.api.visits import VisitViewSet

ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("seasons", SeasonViewSet, "season"),
    ("cycles", CycleViewSet, "cycle"),
    ("scan-rounds", ScanRoundViewSet, "scan-round"),
    ("scans", ScanViewSet, "scan"),
    ("visits", VisitViewSet, "visit"),
    ("rotas", RotaViewSet, "rota"),
    ("rota-wishes", RotaWishViewSet, "rota-wish"),
    ("rota-lines", RotaLineViewSet, "rota-line"),
    ("tub-cards", TubCardViewSet, "tub-card"),
]
