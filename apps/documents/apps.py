"""Django's registration of this floor."""

from django.apps import AppConfig


class Documents(AppConfig):
    """The documents floor."""

    name = "apps.documents"
