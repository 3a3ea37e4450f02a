"""Django's registration of this floor."""

from django.apps import AppConfig


class Inventory(AppConfig):
    """The inventory floor."""

    name = "apps.inventory"
