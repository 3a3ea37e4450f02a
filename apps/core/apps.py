"""Django's registration of this floor."""

from django.apps import AppConfig


class Core(AppConfig):
    """The core floor."""

    name = "apps.core"
