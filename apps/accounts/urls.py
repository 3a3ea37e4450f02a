"""Addresses of people and settings."""

from django.contrib.auth.decorators import login_not_required
from django.urls import path

from apps.accounts import views

app_name = "accounts"
urlpatterns = [
    path("sign-in/", login_not_required(views.SignIn.as_view()), name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("pin/", views.pin, name="pin"),
    path("me/", views.me, name="me"),
    path("people/", views.people_list, name="people"),
    path("people/<str:ref>/", views.person_edit, name="person"),
    path("settings/", views.settings_page, name="settings"),
    path("settings/tablet/", views.tablet_register, name="tablet"),
]
