"""Every address of the house; each floor owns its own list."""

from __future__ import annotations

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

handler400 = "apps.core.views.bad_request"
handler403 = "apps.core.views.not_allowed"
handler404 = "apps.core.views.not_found"
handler500 = "apps.core.views.broken"

urlpatterns: list[URLPattern | URLResolver] = [
    path("administration/", admin.site.urls),
    path("", include("apps.accounts.urls")),
]
