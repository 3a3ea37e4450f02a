"""A shared tablet whose link can be cut and whose browser can die: real Chromium with a profile that outlives it."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import BrowserContext, Locator, Page, Playwright, expect

from apps.accounts.models import Person
from apps.core import clock
from tests.browser.conftest import CHROMIUM, SIZES, Visitor

BUFFER = 65536
GONE_S = 10.0
SENT_MS = 20_000  # a queue tries again after a pause, and two cores carry other tests meanwhile
# The device's own clock; `deviceShift` is how far the test has moved time on, in milliseconds.
CLOCK = """(() => { const Real = Date; globalThis.deviceShift ??= 0; globalThis.Date = class extends Real {
  constructor(...given) { if (given.length) super(...given); else super(Real.now() + globalThis.deviceShift); }
  static now() { return Real.now() + globalThis.deviceShift; } }; })()"""


class Wire:
    """The Wi-Fi between tablet and server: a forwarder on this machine that can be cut, open connections with it.

    Chromium's own switch for being offline does not reach its service worker in every version; a cut wire does.
    """

    def __init__(self, address: str) -> None:
        there = urlsplit(address)
        assert there.hostname
        assert there.port
        self.there = (there.hostname, there.port)
        self.here: int = 0
        self.listener: socket.socket | None = None
        self.ends: set[socket.socket] = set()
        self.join()

    @property
    def address(self) -> str:
        """Where the tablet finds the server."""
        return f"http://127.0.0.1:{self.here}"

    def join(self) -> None:
        """The link is there."""
        if self.listener is not None:
            return
        listener = socket.create_server(("127.0.0.1", self.here))
        self.here, self.listener = listener.getsockname()[1], listener
        threading.Thread(target=self._take, args=(listener,), daemon=True).start()

    def cut(self) -> None:
        """The link is gone; what was on its way does not arrive."""
        if self.listener is not None:
            # wakes the thread that waits in accept, which a plain close does not
            with contextlib.suppress(OSError):
                self.listener.shutdown(socket.SHUT_RDWR)
            self.listener.close()
        self.listener = None
        for end in list(self.ends):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _take(self, listener: socket.socket) -> None:
        while True:
            try:
                near, _ = listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(self.there)
            except OSError:
                near.close()
                continue
            for source, target in ((near, far), (far, near)):
                self.ends.add(source)
                threading.Thread(target=self._carry, args=(source, target), daemon=True).start()

    def _carry(self, source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(BUFFER):
                target.sendall(data)
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        # the other direction has its own thread, which ends by the shutdown and closes the other end
        self.ends.discard(source)
        source.close()


class Tablet:
    """One tablet in somebody's hand; every touch is counted."""

    def __init__(self, play: Playwright, wire: Wire, folder: Path, key: str, patch: pytest.MonkeyPatch) -> None:
        self.play, self.wire, self.folder, self.patch = play, wire, folder, patch
        self.taps = 0
        self.ahead = timedelta(0)
        self.context: BrowserContext | None = None
        self.start()
        expires = time.time() + 86400
        self.open.add_cookies([{"name": "tablet", "value": key, "url": wire.address, "expires": expires}])

    @property
    def open(self) -> BrowserContext:
        """The browser that runs."""
        assert self.context is not None, "the browser is not running"
        return self.context

    @property
    def page(self) -> Page:
        """Its oldest tab."""
        return self.open.pages[0]

    def start(self) -> None:
        """Start Chromium on the profile that is there."""
        width, height = SIZES["phone"]
        self.context = self.play.chromium.launch_persistent_context(
            self.folder,
            executable_path=CHROMIUM,
            args=["--no-sandbox"],
            viewport={"width": width, "height": height},
            has_touch=True,
            base_url=self.wire.address,
            reduced_motion="reduce",
        )
        self.context.set_default_timeout(15_000)
        self.context.add_init_script(CLOCK)
        self._tell_time()
        self.context.set_offline(self.wire.listener is None)

    def stop(self) -> None:
        """Close Chromium as a person does; cookies are on the disk afterwards."""
        self.open.close()
        self.context = None

    def kill(self) -> None:
        """The process dies between two instructions."""
        (pid,) = self._processes()
        os.kill(pid, signal.SIGKILL)
        ends = time.monotonic() + GONE_S
        while self._processes():
            assert time.monotonic() < ends, "Chromium is still there"
            time.sleep(0.02)
        with contextlib.suppress(Exception):
            self.open.close()
        self.context = None

    def _processes(self) -> list[int]:
        """The browser process of this profile, and no other; its children have a --type."""
        found = []
        for entry in Path("/proc").iterdir():
            if not entry.name.isdigit():
                continue
            with contextlib.suppress(OSError):
                words = (entry / "cmdline").read_bytes().decode(errors="replace").split("\0")
                mine = f"--user-data-dir={self.folder}" in words
                if mine and not any(word.startswith("--type=") for word in words):
                    found.append(int(entry.name))
        return found

    def cut(self) -> None:
        """Walk behind the racks where no Wi-Fi reaches."""
        self.wire.cut()
        self.open.set_offline(True)

    def join(self) -> None:
        """Back in reach."""
        self.wire.join()
        if self.context is not None:
            self.open.set_offline(False)

    def later(self, minutes: float) -> None:
        """Time passes, for the server and for the tablet alike."""
        self.ahead += timedelta(minutes=minutes)
        self.patch.setattr(clock, "real_now", lambda ahead=self.ahead: datetime.now(UTC) + ahead)
        if self.context is not None:
            self._tell_time()

    def _tell_time(self) -> None:
        words = f"globalThis.deviceShift = {self.ahead.total_seconds() * 1000}"
        self.open.add_init_script(words)
        for page in self.open.pages:
            page.evaluate(words)

    def tap(self, where: Locator) -> None:
        """One touch of a finger."""
        where.tap()
        self.taps += 1

    def go(self, where: Locator) -> None:
        """One touch that leads to another page."""
        with self.page.expect_navigation():
            self.tap(where)
        self.page.wait_for_load_state()

    def type_pin(self, person: Person, pin: str) -> None:
        """Choose the name where it is not chosen, type the PIN digit by digit, go on."""
        name = self.page.get_by_role("radio", name=person.name)
        if not name.is_checked():
            self.tap(self.page.locator("label", has=name))
        field = self.page.get_by_label("PIN", exact=True)
        if not field.evaluate("one => one === document.activeElement"):
            self.tap(field)
        for digit in pin:
            self.page.keyboard.press(digit)
            self.taps += 1
        self.go(self.page.get_by_role("button", name="Go on"))

    def change_hands(self, person: Person, pin: str) -> None:
        """From the menu of any page."""
        self.tap(self.page.locator(".menu-who summary"))
        self.go(self.page.get_by_role("link", name="Change hands"))
        self.type_pin(person, pin)

    def worker_runs(self) -> None:
        """The service worker answers for the page."""
        self.page.wait_for_function("() => navigator.serviceWorker.controller !== null")

    def has_kept(self, *paths: str) -> None:
        """These pages lie on the device."""
        for path in paths:
            self.page.wait_for_function("async (path) => Boolean(await caches.match(path))", arg=path)

    def toast(self, words: str | re.Pattern[str]) -> None:
        """What the page says of the last entry."""
        expect(self.page.locator(".toast").first).to_contain_text(words)

    def waits(self, words: str) -> None:
        """What the head of the page says of what waits; empty when nothing does."""
        note = self.page.locator("[data-waiting]")
        if words:
            expect(note).to_contain_text(words)
        else:
            expect(note).to_have_attribute("data-counted", "0", timeout=SENT_MS)
            expect(note).to_be_hidden()

    def hold(self, name: str) -> None:
        """The page as it stands against the rules of every page, axe in both themes."""
        Visitor(self.page).hold(name)


@contextmanager
def tablet_of(play: Playwright, address: str, folder: Path, key: str, patch: pytest.MonkeyPatch) -> Iterator[Tablet]:
    """A tablet, and nothing of it left behind."""
    wire = Wire(address)
    tablet = Tablet(play, wire, folder, key, patch)
    try:
        yield tablet
    finally:
        if tablet.context is not None:
            tablet.stop()
        wire.cut()
