"""Django's registration of this floor; hands the clock its setting."""

from django.apps import AppConfig


class Accounts(AppConfig):
    """The accounts floor."""

    name = "apps.accounts"

    def ready(self) -> None:
        from apps.accounts.selectors import clock_setting
        from apps.core import clock

        clock.configure(clock_setting)
