"""Addresses of daily care."""

from django.urls import path

from apps.care import views
from apps.care.views import feeding_plan, health

app_name = "care"
urlpatterns = [
    path("care/", views.feeding, name="feeding"),
    path("care/plan/", feeding_plan.feeding_plan, name="plan"),
    path("care/plan/racks/<str:ref>/", feeding_plan.feeding_plan_rack, name="plan-rack"),
    path("care/thaw/", feeding_plan.thaw, name="thaw"),
    path("care/thaw/print/", feeding_plan.thaw_print, name="thaw-print"),
    path("care/health/", health.health, name="health"),
    path("care/notes/", views.notes, name="notes"),
    path("care/notes/<str:ref>/close/", views.note_close, name="note-close"),
    path("care/racks/<str:ref>/offer/", views.rack_offer, name="rack-offer"),
    path("care/racks/<str:ref>/check/", views.rack_check, name="rack-check"),
    path("animals/<str:ref>/care/", views.animal_care, name="animal"),
    path("animals/<str:ref>/growth/", feeding_plan.growth, name="growth"),
    path("animals/<str:ref>/health/", health.animal_health, name="animal-health"),
    path("animals/<str:ref>/care/strike/", views.entry_strike, name="strike"),
]
