"""Django's registration of this floor."""

from django.apps import AppConfig


class Dashboards(AppConfig):
    """The dashboards floor."""

    name = "apps.dashboards"
