"""``manage.py serve --lan``: the facility for phones and tablets in the house's network, over HTTPS."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from config.certificate import NoCertificate, facility_certificate, house_address, house_names
from config.management.commands.start import check_port, prepare, run
from config.supervisor import AlreadyRunning, Child, Supervisor, children, hold_folder


class Command(BaseCommand):
    """Serve this machine, or with --lan the whole house."""

    help = "Run everything until Ctrl-C; with --lan over HTTPS for the phones and tablets of the house's network."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to listen."""
        parser.add_argument("--lan", action="store_true", help="listen in the house's network, over HTTPS")
        parser.add_argument("--address", help="this machine's address in that network (default: found)")
        parser.add_argument("--port", type=int, default=8443, help="port of the facility (default 8443)")
        parser.add_argument("--trust-port", type=int, default=8080, help="port of the page about trust (default 8080)")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run until stopped."""
        try:
            self.lock = hold_folder(Path(settings.DATA_DIR))
        except AlreadyRunning as error:
            raise CommandError(str(error)) from None
        port, trust_port = options["port"], options["trust_port"]
        if not options["lan"]:
            check_port("127.0.0.1", port)
            prepare(self)
            run(self, "127.0.0.1", port)
            return
        if port == trust_port:
            raise CommandError("--port and --trust-port are the same. Choose two.")
        for one in (port, trust_port):
            check_port("0.0.0.0", one)
        self._lan(options["address"], port, trust_port)

    def _lan(self, given: str | None, port: int, trust_port: int) -> None:
        folder = Path(settings.DATA_DIR) / "certificate"
        try:
            address = given or house_address()
            certificate = facility_certificate(folder, address)
        except (NoCertificate, ValueError) as error:
            raise CommandError(str(error)) from None
        prepare(self)
        url = f"https://{address}:{port}"
        env = {
            "BROODWRIGHT_URL": url,
            "BROODWRIGHT_HOSTS": ",".join([*settings.ALLOWED_HOSTS, *house_names(address)]),
        }
        found = children(f"0.0.0.0:{port}")
        for child in found:
            child.env = env
            if child.name == "web":
                child.command += ["--certfile", str(certificate.server), "--keyfile", str(certificate.key)]
        trust = [sys.executable, "-m", "config.trust", str(folder), address, str(trust_port), str(port)]
        found.append(Child("trust page", [*trust, certificate.fingerprint]))
        self.stdout.write(self.style.SUCCESS(f"Broodwright is at {url}/ (Ctrl-C stops it)"))
        self.stdout.write(
            f"Each phone has to trust the facility's certificate once: open http://{address}:{trust_port}/ on it.\n"
            f"The page shows this fingerprint, or it is not this machine's:\n  {certificate.fingerprint}"
        )
        self.stdout.flush()
        code = Supervisor(found, lambda text: self.stderr.write(text)).run()
        if code:
            raise SystemExit(code)
        self.stdout.write("Stopped.")
