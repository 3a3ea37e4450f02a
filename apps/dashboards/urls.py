"""Addresses of the pages that read across the house."""

from django.urls import path

from apps.dashboards.views import animal, health, search, today

app_name = "dashboards"
urlpatterns = [
    path("", today.today, name="today"),
    path("animals/<str:ref>/", animal.animal, name="animal"),
    path("search/", search.search, name="search"),
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
]
