"""Addresses of alarms and background work."""

from django.urls import path

from apps.jobs import views

app_name = "jobs"
urlpatterns = [
    path("alarms/", views.alarms, name="alarms"),
    path("alarms/<str:ref>/acknowledge/", views.acknowledge, name="alarm-acknowledge"),
    path("jobs/", views.jobs, name="jobs"),
]
