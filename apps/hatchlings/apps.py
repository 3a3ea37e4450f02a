"""Django's registration of this floor."""

from django.apps import AppConfig


class Hatchlings(AppConfig):
    """The hatchlings floor."""

    name = "apps.hatchlings"
