"""``manage.py start``: bring the database up to date and run web, workers and scheduler until Ctrl-C."""

from __future__ import annotations

import socket
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from apps.accounts.selectors import OWNER_ADD, has_people
from config.supervisor import AlreadyRunning, Supervisor, children, hold_folder


class Command(BaseCommand):
    """Start everything on this machine."""

    help = "Migrate, then run the site, both workers and the scheduler until Ctrl-C."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to listen."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default 127.0.0.1)")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on (default 8000)")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run until stopped."""
        try:
            self.lock = hold_folder(Path(settings.DATA_DIR))
        except AlreadyRunning as error:
            raise CommandError(str(error)) from None
        host, port = options["host"], options["port"]
        check_port(host, port)
        prepare(self)
        run(self, host, port)


def check_port(host: str, port: int) -> None:
    """Raises CommandError before anything is started on a port somebody else uses."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(f"Port {port} cannot be used ({error.strerror}). Choose another with --port.") from None


def prepare(command: BaseCommand) -> None:
    """Migrations, static files and the species and trait knowledge."""
    command.stdout.write("Bringing the database up to date …")
    call_command("migrate", verbosity=0, interactive=False)
    call_command("collectstatic", verbosity=0, interactive=False)
    call_command("load_knowledge", verbosity=0)


def run(command: BaseCommand, host: str, port: int) -> None:
    """Supervise until a signal."""
    address = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
    shown = "localhost" if host in {"127.0.0.1", "0.0.0.0"} else host
    command.stdout.write(command.style.SUCCESS(f"Broodwright is at http://{shown}:{port}/ (Ctrl-C stops it)"))
    if not has_people():
        command.stdout.write(f"Nobody can sign in yet. In another window: {OWNER_ADD}")
    code = Supervisor(children(address), lambda text: command.stderr.write(text)).run()
    if code:
        raise SystemExit(code)
    command.stdout.write("Stopped.")
