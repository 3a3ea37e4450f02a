"""Every address of the house; each floor owns its own list."""

from __future__ import annotations

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

from apps.accounts.views import administration_sign_in

handler400 = "apps.core.views.bad_request"
handler403 = "apps.core.views.not_allowed"
handler404 = "apps.core.views.not_found"
handler500 = "apps.core.views.broken"

urlpatterns: list[URLPattern | URLResolver] = [
    path("administration/login/", administration_sign_in, name="administration-sign-in"),
    path("administration/", admin.site.urls),
    path("", include("apps.accounts.urls")),
    path("", include("apps.documents.urls")),
    path("", include("apps.jobs.urls")),
    path("", include("apps.places.urls")),
    path("", include("apps.animals.urls")),
    path("", include("apps.care.urls")),
    path("", include("apps.breeding.urls")),
    path("", include("apps.incubation.urls")),
    path("", include("apps.hatchlings.urls")),
    path("", include("apps.inventory.urls")),
    path("", include("apps.shipping.urls")),
    path("api/v1/", include("config.api")),
    # last: it owns "/" and the animal's page, which other floors' addresses begin with
    path("", include("apps.dashboards.urls")),
]
