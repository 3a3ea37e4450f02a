"""Addresses of documents."""

from django.urls import path

from apps.documents import views

app_name = "documents"
urlpatterns = [path("documents/<str:ref>/", views.document, name="document")]
