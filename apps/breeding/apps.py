"""Django's registration of this floor."""

from django.apps import AppConfig


class Breeding(AppConfig):
    """The breeding floor."""

    name = "apps.breeding"
