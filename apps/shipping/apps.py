"""Django's registration of this floor."""

from django.apps import AppConfig


class Shipping(AppConfig):
    """The shipping floor."""

    name = "apps.shipping"
