"""The API's routes, gathered from every floor's ROUTES."""

from __future__ import annotations

import importlib
from typing import Any

from django.urls import URLPattern, URLResolver, include, path
from rest_framework.routers import SimpleRouter

FLOORS = (
    "accounts",
    "documents",
    "jobs",
    "places",
    "animals",
    "care",
    "breeding",
    "incubation",
    "hatchlings",
    "inventory",
    "shipping",
    "dashboards",
)


def router() -> SimpleRouter:
    """One router over all floors; a floor without an api module has no routes."""
    found = SimpleRouter()
    for floor in FLOORS:
        try:
            module: Any = importlib.import_module(f"apps.{floor}.api")
        except ModuleNotFoundError as error:
            if error.name != f"apps.{floor}.api":
                raise
            continue
        for prefix, viewset, basename in getattr(module, "ROUTES", []):
            found.register(prefix, viewset, basename=basename)
    return found


urlpatterns: list[URLPattern | URLResolver] = [path("", include(router().urls))]
