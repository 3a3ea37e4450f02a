"""Addresses of daily care."""

from django.urls import path

from apps.care import views

app_name = "care"
urlpatterns = [
    path("care/", views.feeding, name="feeding"),
    path("care/notes/", views.notes, name="notes"),
    path("care/notes/<str:ref>/close/", views.note_close, name="note-close"),
    path("care/racks/<str:ref>/offer/", views.rack_offer, name="rack-offer"),
    path("care/racks/<str:ref>/check/", views.rack_check, name="rack-check"),
    path("animals/<str:ref>/care/", views.animal_care, name="animal"),
    path("animals/<str:ref>/care/strike/", views.entry_strike, name="strike"),
]
