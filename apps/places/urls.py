"""Addresses of setting places up; the rooms with who is in them stand one floor higher."""

from django.urls import path

from apps.places import views

app_name = "places"
urlpatterns = [
    path("places/setup/", views.setup, name="setup"),
    path("places/setup/<str:what>/", views.place_add, name="add"),
    path("places/incubators/<str:ref>/", views.incubator_change, name="incubator"),
    path("places/probes/<str:ref>/", views.probe, name="probe"),
]
