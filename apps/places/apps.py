"""Django's registration of this floor."""

from django.apps import AppConfig


class Places(AppConfig):
    """The places floor."""

    name = "apps.places"
