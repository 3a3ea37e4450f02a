"""Loading the demonstration: files through the importers a user would use, then its story through the services."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db.models import Q

from apps.accounts.models import Facility, Person
from apps.accounts.selectors import facility_forget, system_person
from apps.accounts.services import facility_set, person_add, pin_set
from apps.animals.models import Animal
from apps.animals.services import beliefs_refresh, knowledge_load
from apps.breeding.models import Season
from apps.breeding.services import forecasts_refresh
from apps.core import clock
from apps.core.exchange import run_import
from apps.dashboards.selectors.exchange import IMPORTERS
from apps.hatchlings.selectors import judged_of, young_here
from apps.hatchlings.services.ready import readiness_write
from apps.jobs.models import Delivery
from apps.jobs.services import delivery_carry, outbox
from apps.places.services import health_group_add, incubator_add, probe_add, room_add, site_add
from config.demo.care import watch_and_print
from config.demo.files import FILES, write_files
from config.demo.lineage import Collection, collection
from config.demo.rota import rota
from config.demo.said import said_before
from config.demo.seasons import SeasonRows, season_rows
from config.demo.story import Loaded, tell
from config.demo.world import FACILITY, FULL_SIZE, INCUBATORS, LOADED_AT, PASSWORD, PEOPLE, PIN, ROOMS, SEED, Size

Say = Callable[[str], None]


def is_loaded() -> bool:
    """Whether this database holds the demonstration already."""
    return Facility.objects.filter(pk=1, is_demo=True).exists()


def load_demo(size: Size, say: Say) -> None:
    """Everything, once. The clock stands until all is in: every fact then lies in the facility's own past, and the
    demonstration begins at the same minute however long its loading took."""
    _clock()
    with quiet_outbox(), clock.at(LOADED_AT):
        people = _people(say)
        folder, made, rows = _files(size)
        say("Importing the demonstration's files …")
        for kind in FILES:
            if kind == "cycles":
                say(f"  {said_before(rows)} forecasts as they were said before the ovulations came")
            _import(people["halvard"], kind, folder / f"{kind}.csv", say)
        _incubators(people["halvard"])
        loaded = Loaded(people, made, rows, size)
        say("Replaying its seasons, clutches, sales and parcels …")
        tell(loaded, say)
        say("Computing forecasts …")
        forecasts_refresh(by=system_person(), seasons=list(Season.objects.all()))
        rota(people, say)
        # before anything is printed: every paper of it says that it is a demonstration
        Facility.objects.filter(pk=1).update(is_demo=True)
        facility_forget()
        watch_and_print(people["bram"], people["maren"], say)
        _carry(say)
    _clock()


@contextmanager
def quiet_outbox() -> Iterator[None]:
    """Deliveries are written but wake nobody while history is replayed; they are carried at the end."""
    send = outbox._send
    outbox._send = None
    try:
        yield
    finally:
        outbox._send = send


def _clock() -> None:
    row, _ = Facility.objects.get_or_create(pk=1)
    offset = LOADED_AT - clock.real_now()
    Facility.objects.filter(pk=row.pk).update(clock_offset_seconds=round(offset.total_seconds()))
    facility_forget()


def _people(say: Say) -> dict[str, Person]:
    by = system_person()
    knowledge_load(by=by)
    facility_set(by=by, values=FACILITY)
    found: dict[str, Person] = {}
    for colleague in PEOPLE:
        person = Person.objects.filter(email=colleague.email).first() or person_add(
            by=by, email=colleague.email, name=colleague.name, roles=colleague.roles, password=PASSWORD
        )
        short = colleague.email.split("@")[0]
        if short in PIN:
            person = pin_set(by=person, pin=PIN[short])
        found[short] = person
    return found


def _files(size: Size) -> tuple[Path, Collection, SeasonRows]:
    """The committed files for the full demonstration; fresh ones for any other size or seed."""
    committed = Path(settings.BASE_DIR) / "fixtures/demo"
    if size == Size(FULL_SIZE, 2, SEED) and all((committed / f"{name}.csv").exists() for name in FILES):
        made = collection(size)
        return committed, made, season_rows(size, made)
    folder = Path(settings.DATA_DIR) / "demo"
    made, rows = write_files(folder, size)
    return folder, made, rows


def _import(by: Person, kind: str, path: Path, say: Say) -> None:
    report = run_import(IMPORTERS[kind](by), path, dry_run=False, max_bytes=settings.IMPORT_MAX_BYTES)
    say(f"  {kind}: {report.sentence}")
    for error in report.errors[:5]:
        say(f"    line {error.line}, {error.column}: {error.message}")


def _incubators(by: Person) -> None:
    rooms = {
        name: room_add(
            by=by,
            site=site_add(by=by, name=site),
            name=name,
            kind=kind,
            health_group=health_group_add(by=by, name=group),
            walk_order=order,
        )
        for site, name, kind, group, order in ROOMS
    }
    room = rooms["Incubation"]
    for name, target_c, low_c, high_c in INCUBATORS:
        incubator = incubator_add(by=by, room=room, name=name, target_c=target_c, low_c=low_c, high_c=high_c)
        for letter in "AB":
            probe_add(by=by, name=f"{name} {letter}", incubator=incubator)


def _carry(say: Say) -> None:
    """Carry what the replay left in the outbox, so that the first minute of the demonstration is calm.

    Forecasts, readiness and what the young carry are computed at once: those deliveries would only do it again.
    """
    moment = clock.real_now()
    again = (
        Q(handler__startswith="apps.breeding.")
        | Q(handler__endswith=".judge_again")
        | Q(handler__endswith=".mass_look")
        | Q(handler__endswith=".beliefs_follow")
    )
    touched = Delivery.objects.filter(handler__endswith=".beliefs_follow", done_at__isnull=True)
    refs = {ref for payload in touched.values_list("payload", flat=True) for ref in payload["animal_refs"]}
    beliefs_refresh(by=system_person(), animals=list(Animal.objects.filter(ref__in=refs)))
    done = Delivery.objects.filter(again, done_at__isnull=True).update(
        done_at=moment, note="computed with the demonstration"
    )
    with clock.at(LOADED_AT):
        readiness_write(judged_of(young_here()))
    rows = list(Delivery.objects.filter(done_at__isnull=True).values_list("pk", flat=True))
    for pk in rows:
        delivery_carry(pk=pk)
    say(f"  {len(rows)} reactions carried one by one, {done} computed at once")
