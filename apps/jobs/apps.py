"""Django's registration of this floor."""

from django.apps import AppConfig


class Jobs(AppConfig):
    """The jobs floor."""

    name = "apps.jobs"
