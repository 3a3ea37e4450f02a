"""A worker that is killed in the middle of a task, in a house of its own: what both modes are tried with."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Mapping
from contextlib import nullcontext
from pathlib import Path

from tests.architecture.floors import ROOT
from tests.tables import tables

# A real worker of the real app; only the table of reactions is the test's own (one that takes its time), and the
# lease is short so that the test need not wait two minutes.
WORKER = """
import time
from datetime import timedelta
from pathlib import Path

import django

django.setup()
from apps.jobs.events import AlarmRaised
from apps.jobs.services import outbox, reactions_register
from apps.jobs.tasks import deliver
from apps.accounts.selectors import system_person
from apps.accounts.services import audit_write
from config.celery import app

BEGUN = Path({begun!r})
outbox.LEASE = timedelta(seconds=2)
outbox.RESEND_AFTER = timedelta(seconds=1)


def slow(event):
    audit_write(by=system_person(), act="tests.effect", subject=system_person(), label=event.alarm_ref)
    with BEGUN.open("a") as file:
        file.write("begun\\n")
    time.sleep(60 if {patient} else 0)


slow.__module__, slow.__qualname__ = "tests", "slow"
reactions_register({{AlarmRaised: (slow,)}}, deliver.delay)
app.worker_main(["--quiet", "worker", "-Q", "work,watch", "--pool", "threads", "-c", "2", "--loglevel", "ERROR",
                 "--without-gossip", "--without-mingle", "--without-heartbeat"])
"""
ACT = """
import django

django.setup()
from django.utils import timezone
from apps.jobs.events import AlarmRaised
from apps.jobs.models import Delivery
from apps.jobs.tasks import deliver

event = AlarmRaised(**{payload!r})
row = Delivery.objects.create(event=event.name, handler="tests.slow", payload=event.payload(),
                              due_at=timezone.now(), sent_at=timezone.now())
deliver.delay([row.pk])
print(row.pk)
"""
SWEEP = """
import django

django.setup()
from apps.jobs.tasks import sweep

sweep.delay()
"""
COUNT = """
import json
import django

django.setup()
from apps.accounts.models import AuditRow
from apps.jobs.models import Delivery

row = Delivery.objects.get(handler="tests.slow")
print(json.dumps({"done": row.done_at is not None, "attempts": row.attempts,
                  "effects": AuditRow.objects.filter(act="tests.effect").count()}))
"""


class House:
    """A data folder (and perhaps services) of its own, and programs run in it."""

    def __init__(self, folder: Path, environment: Mapping[str, str]) -> None:
        kept = {name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL"}}
        self.environment = {
            **kept,
            "BROODWRIGHT_DATA": str(folder / "data"),
            "BROODWRIGHT_SECRET_KEY": "a key for tests only",
            "BROODWRIGHT_NO_BOOTSTRAP": "1",
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "PYTHONPATH": str(ROOT),
            "PYTHONWARNINGS": "ignore",
            **environment,
        }
        self.begun = folder / "begun"

    def run(self, program: str) -> str:
        """The last line that a small program prints."""
        done = subprocess.run(
            [sys.executable, "-c", program], env=self.environment, cwd=ROOT, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return (done.stdout.strip().splitlines() or [""])[-1]

    def migrate(self) -> None:
        """Its tables."""
        command = [sys.executable, "manage.py", "migrate", "--verbosity", "0"]
        folder = Path(self.environment["BROODWRIGHT_DATA"])
        folder.mkdir(parents=True, exist_ok=True)
        with nullcontext() if "DATABASE_URL" in self.environment else tables(folder / "broodwright.sqlite3"):
            subprocess.run(command, env=self.environment, cwd=ROOT, check=True)

    def worker(self, *, patient: bool) -> subprocess.Popen[bytes]:
        """A worker whose task takes a minute, or none."""
        program = textwrap.dedent(WORKER).format(begun=str(self.begun), patient=patient)
        return subprocess.Popen(
            [sys.executable, "-c", program],
            env=self.environment,
            cwd=ROOT,
            start_new_session=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def count(self) -> dict[str, int]:
        """What became of the task."""
        found: dict[str, int] = json.loads(self.run(COUNT))
        return found

    def begun_times(self) -> int:
        """How often the task was begun."""
        return len(self.begun.read_text().splitlines()) if self.begun.exists() else 0


def wait_until(true: Callable[[], bool], what: str, seconds: float = 180) -> None:
    """Wait, and fail with ``what`` when it never becomes true."""
    until = time.monotonic() + seconds
    while not true():
        if time.monotonic() > until:
            raise AssertionError(f"not within {seconds:g} s: {what}")
        time.sleep(0.2)


def kill(process: subprocess.Popen[bytes]) -> None:
    """kill -9 of the worker and everything below it."""
    os.killpg(process.pid, signal.SIGKILL)
    process.wait(20)


def killed_in_mid_task(house: House) -> None:
    """Begin a task, kill the worker, start another: the task ends, and its effect is there once."""
    house.migrate()
    first = house.worker(patient=True)
    try:
        house.run(ACT.format(payload={"alarm_ref": "r1"}))
        wait_until(lambda: house.begun_times() == 1, "the first worker begins")
    finally:
        kill(first)
    assert house.count() == {"done": False, "attempts": 1, "effects": 0}, "half an effect was left behind"
    second = house.worker(patient=False)
    try:

        def swept() -> bool:
            house.run(SWEEP)
            return bool(house.count()["done"])

        wait_until(swept, "the second worker ends what the first began")
        house.run(SWEEP)
        time.sleep(1)
        assert house.begun_times() == 2
        assert house.count() == {"done": True, "attempts": 2, "effects": 1}
    finally:
        kill(second)
