"""Django's registration of this floor."""

from django.apps import AppConfig


class Animals(AppConfig):
    """The animals floor."""

    name = "apps.animals"
