"""``manage.py owner_add``: the first owner of an empty facility."""

from __future__ import annotations

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from apps.accounts.choices import Role
from apps.accounts.selectors import system_person
from apps.accounts.services import person_add
from apps.core.errors import DomainError


class Command(BaseCommand):
    """Add an owner."""

    help = "Add an owner; the password is asked for (or read from standard input)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who."""
        parser.add_argument("--email", required=True)
        parser.add_argument("--name", required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        """Add, or say what is wrong."""
        if sys.stdin.isatty():
            password = getpass.getpass("Password (at least 10 characters): ")
            if getpass.getpass("The same once more: ") != password:
                raise CommandError("The two differ. Nobody was added; run the command again.")
        else:
            password = sys.stdin.readline().rstrip("\n")
        try:
            person = person_add(
                by=system_person(),
                email=options["email"],
                name=options["name"],
                roles=[Role.OWNER],
                password=password,
            )
        except DomainError as error:
            raise CommandError(f"{error.field}: {error.message}" if error.field else error.message) from None
        self.stdout.write(self.style.SUCCESS(f"{person.name} can sign in with {person.email}."))
