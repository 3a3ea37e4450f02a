"""The API's routes, gathered from every floor's ROUTES; the schema and the what-ifs."""

from __future__ import annotations

import importlib
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.routers import SimpleRouter

from apps.accounts.choices import Permission
from apps.dashboards.pages.api_reference import api_schema
from apps.dashboards.views.what_if import WhatIf

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


class Schema(SpectacularAPIView):
    """The OpenAPI schema, for any signed-in person."""

    permission = Permission.READ

    def _get_schema_response(self, request: Request) -> Response:
        return Response(api_schema(), headers={"Content-Disposition": 'inline; filename="broodwright.yaml"'})


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


# The API denies by default with its own permission class (401 as problem+json), so the sign-in redirect steps aside.
urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", login_not_required(Schema.as_view()), name="api-schema"),
    path("what-if/<str:name>/", login_not_required(WhatIf.as_view()), name="what-if"),
    path("", include(router().urls)),
]
