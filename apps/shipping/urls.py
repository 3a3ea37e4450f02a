"""Addresses of shipping."""

from __future__ import annotations

from django.urls import path

from apps.shipping.views import board, parcel

ACTS = ("book", "hold", "unbook", "pack", "hand-over", "arrive", "cancel", "print", "judge")

app_name = "shipping"
urlpatterns = [
    path("shipping/", board.board, name="board"),
    path("shipping/plan/", board.plan, name="plan"),
    path("shipping/past/", board.past, name="past"),
    path("shipping/<slug:ref>/", parcel.parcel, name="parcel"),
    path("shipping/<slug:ref>/release/", parcel.release, name="release"),
    *[path(f"shipping/<slug:ref>/{act}/", parcel.act, {"act": act}, name=act) for act in ACTS],
]
