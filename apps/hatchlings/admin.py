"""Administration of the hatch room."""

from django.contrib import admin

from apps.hatchlings.models import Hatch, Identification, Readiness

for model in (Hatch, Identification, Readiness):
    admin.site.register(model)
