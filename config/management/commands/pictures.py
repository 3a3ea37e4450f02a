"""``manage.py pictures``: the README's pictures, taken from a running demonstration of this data folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from apps.documents.models import Document
from apps.documents.selectors import document_path
from config.demo.world import PASSWORD, PEOPLE

WIDTH, HEIGHT = 1440, 900
PAPER_DPI = 70


class Command(BaseCommand):
    """Season board, scan round and packing slip into docs/pictures/."""

    help = "Take the README's pictures from a running demonstration (start it with manage.py demo first)."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where the demonstration runs."""
        parser.add_argument("--at", default="http://localhost:8000", help="address of the running demonstration")

    def handle(self, *args: Any, **options: Any) -> None:
        """Two pages through Chromium, one paper through pdftoppm."""
        chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
        if chromium is None:
            raise CommandError("Chromium is not here. Debian: apt-get install chromium")
        if shutil.which("pdftoppm") is None:
            raise CommandError("pdftoppm is not here. Debian: apt-get install poppler-utils")
        slip = Document.objects.filter(kind="packing slip", voided_at__isnull=True).order_by("made_at").first()
        if slip is None:
            raise CommandError("No parcel has a packing slip yet. Book one, or wait until the worker has made it.")
        folder = Path(settings.BASE_DIR) / "docs" / "pictures"
        folder.mkdir(parents=True, exist_ok=True)
        self._pages(chromium, options["at"].rstrip("/"), folder)
        self._paper(slip, folder)

    def _pages(self, chromium: str, address: str, folder: Path) -> None:
        from playwright.sync_api import sync_playwright

        lead = next(person for person in PEOPLE if "breeding lead" in person.roles)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
            page.goto(f"{address}/sign-in/")
            page.fill("input[type=email], input[name=username]", lead.email)
            page.fill("input[type=password]", PASSWORD)
            page.click("main button[type=submit], main form button")
            page.wait_for_load_state("networkidle")
            page.goto(f"{address}/season/")
            self._shot(page, folder / "season-board.png")
            page.goto(f"{address}/scan/")
            page.locator("main a[href^='/scan/']").first.click()
            page.wait_for_load_state("networkidle")
            self._shot(page, folder / "scan-round.png")
            browser.close()

    def _shot(self, page: Any, path: Path) -> None:
        page.wait_for_load_state("networkidle")
        page.screenshot(path=str(path))
        self.stdout.write(f"wrote docs/pictures/{path.name}")

    def _paper(self, slip: Document, folder: Path) -> None:
        with tempfile.TemporaryDirectory() as scratch:
            stem = Path(scratch) / "slip"
            command = ["pdftoppm", "-png", "-r", str(PAPER_DPI), "-f", "1", "-l", "1", "-singlefile"]
            subprocess.run([*command, str(document_path(slip.sha256)), str(stem)], check=True)
            shutil.copy(f"{stem}.png", folder / "packing-slip.png")
        self.stdout.write("wrote docs/pictures/packing-slip.png")
