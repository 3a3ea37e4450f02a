"""Django's registration of this floor."""

from django.apps import AppConfig


class Care(AppConfig):
    """The care floor."""

    name = "apps.care"
