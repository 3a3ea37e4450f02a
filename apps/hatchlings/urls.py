"""Addresses of the hatch room and the nursery."""

from django.urls import path

from apps.hatchlings import views

app_name = "hatchlings"
urlpatterns = [
    path("hatch/", views.rooms, name="rooms"),
    path("hatch/litter/", views.litter, name="litter"),
    path("hatch/young/<str:ref>/identify/", views.identify, name="identify"),
    path("hatch/young/<str:ref>/sire/", views.settle_sire, name="settle-sire"),
    path("hatch/<str:ref>/", views.hatch, name="hatch"),
    path("nursery/", views.nursery, name="nursery"),
]
