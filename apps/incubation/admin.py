"""Administration of the incubation room."""

from django.contrib import admin

from apps.incubation.models import Box, Egg, EggCheck, HatchForecast

for model in (Box, Egg, EggCheck, HatchForecast):
    admin.site.register(model)
