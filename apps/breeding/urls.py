"""Addresses of the season."""

from __future__ import annotations

from django.urls import path

from apps.breeding.views import cards, plan, rota, scan, season, visits

app_name = "breeding"

urlpatterns = [
    path("season/", season.board, name="board"),
    path("season/rows/<slug:ref>/", season.board_one, name="board-row"),
    path("season/numbers/<slug:ref>/<str:key>/", plan.number_effects_page, name="number-effects"),
    path("season/<slug:ref>/", season.female, name="female"),
    path("season/<slug:ref>/scan/", season.scan_one, name="scan-one"),
    path("scan/", scan.rounds, name="rounds"),
    path("scan/plan/", plan.plan, name="round-plan"),
    path("scan/<slug:ref>/", scan.scan_round, name="round"),
    path("scan/<slug:ref>/preview/", scan.preview, name="round-preview"),
    path("scan/<slug:ref>/close/", scan.round_close, name="round-close"),
    path("scan/<slug:ref>/summary/", scan.summary, name="round-summary"),
    path("scan/<slug:ref>/sheet/", scan.sheet, name="round-sheet"),
    path("rota/", rota.rota, name="rota"),
    path("scan/<slug:ref>/paper/", plan.paper, name="round-paper"),
    path("visits/", visits.visits, name="visits"),
    path("cards/", cards.tub_cards, name="tub-cards"),
]
