"""Django's registration of this floor."""

from django.apps import AppConfig


class Incubation(AppConfig):
    """The incubation floor."""

    name = "apps.incubation"
