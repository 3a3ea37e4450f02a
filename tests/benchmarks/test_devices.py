"""Thirty devices that record at once for two minutes, and a rack of sixty recorded in one request.

Run by hand: ``pytest tests/benchmarks/test_devices.py -m benchmark_suite -n0 -s``. BROODWRIGHT_BENCH_SECONDS and
BROODWRIGHT_BENCH_DEVICES set another length and number. The facility is the real one: ``manage.py serve`` with its web
server, workers and scheduler, on SQLite. Times are printed and judged by hand; what fails is an error, a lost write, a
doubled one, or a rack that costs more than so many single entries.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.care.models import MealCheck, MealOffer
from apps.places.models import Rack
from tests.care.conftest import register
from tests.dashboards.test_observations import entry, offer_rack, send
from tests.factories.places import make_rack
from tests.jobs.killed import House

pytestmark = pytest.mark.benchmark_suite
ROOT = Path(__file__).parents[2]
DEVICES = int(os.environ.get("BROODWRIGHT_BENCH_DEVICES", "30"))
SECONDS = float(os.environ.get("BROODWRIGHT_BENCH_SECONDS", "120"))
PAUSE_S = 1.0  # a keeper who never stops: an entry a second from each device
TUBS_OF_A_RACK = 60
RUNS = 7
MOST_TIMES_ONE = 12.0
CSRF = "c" * 32
# People with a session each and four animals each, as lines of JSON.
FURNISH = """
import json
import django

django.setup()
from datetime import date
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from apps.accounts.choices import Role
from apps.accounts.models import Facility, Person, PersonRole
from apps.accounts.selectors import system_person
from apps.animals.choices import Origin, Purpose, Sex
from apps.animals.models import Species
from apps.animals.services import animal_register
from apps.places.services import health_group_add, rack_add, room_add, site_add

by = system_person()
Facility.objects.update_or_create(pk=1, defaults={{"name": "House", "time_zone": "America/New_York"}})
group = health_group_add(by=by, name="Barn")
room = room_add(by=by, site=site_add(by=by, name="Barn"), name="Room 1", kind="breeding", health_group=group)
rack = rack_add(by=by, room=room, name="Rack", levels=12, columns=10, label_prefix="R")
tubs = list(rack.tubs.order_by("walk_order"))
species = Species.objects.get(slug="python-regius")
found = []
for number in range({devices}):
    person = Person(email=f"keeper{{number}}@example.com", name=f"Keeper {{number}}")
    person.set_unusable_password()
    person.save()
    PersonRole.objects.create(person=person, role=Role.KEEPER)
    session = SessionStore()
    session[SESSION_KEY] = str(person.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = person.get_session_auth_hash()
    session.create()
    animals = [
        animal_register(
            by=by, species=species, sex=Sex.FEMALE, code=f"D-{{number:02d}}-{{n}}", tub=tubs[number * 4 + n],
            origin=Origin.ACQUIRED, hatched_on=date(2020, 7, 1), purpose=Purpose.BREEDER,
        ).ref
        for n in range(4)
    ]
    found.append({{"person": person.ref, "session": session.session_key, "animals": animals}})
print(json.dumps(found))
"""
COUNT = """
import json
import django

django.setup()
from apps.care.models import CareMark, Condition, SentEntry, Weight

models = (CareMark, Condition, Weight)
rows = [str(one) for model in models for one in model.objects.values_list("client_id", flat=True)]
print(json.dumps({"rows": rows, "sent": SentEntry.objects.count()}))
"""


@dataclass
class Device:
    """One phone: what it sent, how long each answer took, and what went wrong."""

    person: str
    session: str
    animals: list[str]
    sent: list[str] = field(default_factory=list)
    took_s: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def record(self, port: int, until: float, dice: random.Random) -> None:
        """Entry after entry until the time is over; an entry in ten is sent twice, as after a lost answer."""
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        while time.monotonic() < until:
            began = time.perf_counter()
            one = self._entry(dice)
            self.sent.append(one["client_id"])
            for _ in range(2 if dice.random() < 0.1 else 1):
                asked = time.perf_counter()
                self._send(link, one)
                self.took_s.append(time.perf_counter() - asked)
            time.sleep(max(0.0, PAUSE_S - (time.perf_counter() - began)))
        link.close()

    def _entry(self, dice: random.Random) -> dict[str, Any]:
        kinds: list[tuple[str, dict[str, list[str]]]] = [
            ("mark", {"kind": [dice.choice(["water", "cleaned", "droppings"])]}),
            ("weight", {"mass_g": [str(1700 + dice.randrange(60))]}),
            ("condition", {"seen": ["fit"]}),
        ]
        name, fields = dice.choice(kinds)
        return {
            "client_id": str(uuid4()),
            "name": name,
            "subject": dice.choice(self.animals),
            "person": self.person,
            "observed_at": datetime.now(UTC).isoformat(),
            "fields": fields,
        }

    def _send(self, link: http.client.HTTPConnection, one: dict[str, Any]) -> None:
        body = json.dumps({"device_now": datetime.now(UTC).isoformat(), "entries": [one]})
        cookies = f"sessionid={self.session}; csrftoken={CSRF}"
        headers = {"Content-Type": "application/json", "Cookie": cookies, "X-CSRFToken": CSRF}
        link.request("POST", "/api/v1/observations/", body, headers)
        answer = link.getresponse()
        said = answer.read().decode()
        if answer.status != 200:
            self.wrong.append(f"{answer.status}: {said[:200]}")
        elif json.loads(said)["entries"][0]["answer"] not in {"written", "again"}:
            self.wrong.append(said[:200])


def free_port() -> int:
    """A port that nobody uses at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def house(tmp_path: Path) -> House:
    """A data folder with tables and knowledge."""
    made = House(tmp_path, {"BROODWRIGHT_LOG_LEVEL": "WARNING"})
    made.migrate()
    return made


@pytest.fixture
def served(house: House, tmp_path: Path) -> Iterator[tuple[int, Path]]:
    """The real facility on a port of this machine, and where its words go."""
    port, log = free_port(), tmp_path / "served.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "serve", "--port", str(port)],
            cwd=ROOT,
            env=house.environment,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            wait_until_up(port, process, log)
            yield port, log
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(120)


def wait_until_up(port: int, process: subprocess.Popen[bytes], log: Path) -> None:
    """Until the sign-in page is there."""
    until = time.monotonic() + 300
    while time.monotonic() < until:
        assert process.poll() is None, log.read_text()
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        try:
            link.request("GET", "/sign-in/")
            answer = link.getresponse()
            answer.read()
            if answer.status == 200:
                return
        except OSError:
            time.sleep(0.5)
        finally:
            link.close()
    raise AssertionError(log.read_text())


def test_thirty_devices_at_once_lose_nothing(house: House, served: tuple[int, Path]) -> None:
    """Every entry that was answered is there, once; no lock error in any answer or in the server's words."""
    port, log = served
    devices = [Device(**one) for one in json.loads(house.run(FURNISH.format(devices=DEVICES)))]
    until = time.monotonic() + SECONDS
    threads = [
        threading.Thread(target=device.record, args=(port, until, random.Random(number)))
        for number, device in enumerate(devices)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took = sorted(one for device in devices for one in device.took_s)
    sent = sorted(one for device in devices for one in device.sent)
    print(  # noqa: T201
        f"\n{DEVICES} devices for {SECONDS:g} s: {len(sent)} entries in {len(took)} requests, "
        f"median {statistics.median(took) * 1000:.0f} ms, p95 {took[int(len(took) * 0.95)] * 1000:.0f} ms, "
        f"longest {took[-1] * 1000:.0f} ms, load {os.getloadavg()[0]:.1f}"
    )
    assert [words for device in devices for words in device.wrong] == []
    found = json.loads(house.run(COUNT))
    assert sorted(found["rows"]) == sent
    assert found["sent"] == len(sent)
    assert "locked" not in log.read_text()


@pytest.mark.django_db
def test_a_rack_of_sixty_in_one_request(
    knowledge: None, frozen: datetime, owner: Person, keeper: Person, api_as: Callable[[Person], APIClient]
) -> None:
    """Offered and checked as a device sends it; the reference is one tub in one request."""
    rack = make_rack(levels=10, columns=6)
    animals = [register(owner, f"PR-{n:04d}", tub=tub) for n, tub in enumerate(rack.tubs.order_by("walk_order"), 1)]
    assert len(animals) == TUBS_OF_A_RACK
    client = api_as(keeper)
    many = _passes(client, keeper, rack, animals)
    one = _passes(client, keeper, rack, animals[:1])
    for name, times, reference in (("offered", many[0], one[0]), ("checked", many[1], one[1])):
        middle, least = statistics.median(times), statistics.median(reference)
        print(  # noqa: T201
            f"\na rack of {TUBS_OF_A_RACK} {name} in one request: median {middle * 1000:.0f} ms, longest "
            f"{max(times) * 1000:.0f} ms; one tub {least * 1000:.0f} ms; ratio {middle / least:.1f}"
        )
        assert middle / least < MOST_TIMES_ONE
    assert MealOffer.objects.count() == MealCheck.objects.count() == RUNS * (TUBS_OF_A_RACK + 1)


def _passes(client: APIClient, by: Person, rack: Rack, animals: list[Animal]) -> tuple[list[float], list[float]]:
    """Seconds of several offers, and of the check after each."""
    offered_s: list[float] = []
    checked_s: list[float] = []
    for _ in range(RUNS):
        offered = offer_rack(by, rack, animals)
        names = [pair.split(":")[1] for pair in offered["fields"]["offer_id"]]
        checked = entry(by, "rack-check", rack.ref, shown=names, left=names[:5], ago_s=300)
        for sending, times in ((offered, offered_s), (checked, checked_s)):
            began = time.perf_counter()
            answer = send(client, sending)[0]
            times.append(time.perf_counter() - began)
            assert answer["answer"] == "written", answer
    return offered_s, checked_s
