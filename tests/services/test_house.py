"""The whole house on real PostgreSQL: its migrations back and forth, the demonstration, the pages, an import twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.test import Client

from apps.accounts.models import Person
from apps.accounts.selectors import facility_forget
from apps.animals.models import Animal
from apps.places.models import Tub
from config.demo.load import load_demo
from config.demo.world import Size
from tests.architecture.floors import floors

PAGES = (
    "/",
    "/animals/",
    "/animals/?q=PR-01",
    "/places/",
    "/species/",
    "/season/",
    "/scan/",
    "/visits/",
    "/care/",
    "/care/notes/",
    "/incubation/",
    "/incubation/incubators/",
    "/hatch/",
    "/nursery/",
    "/stock/",
    "/stock/orders/",
    "/stock/buyers/",
    "/shipping/",
    "/shipping/past/",
    "/search/?q=PR-01",
    "/alarms/",
    "/jobs/",
    "/import/",
    "/export/animals.csv",
)


def ours() -> list[str]:
    """Apps with tables, from the highest floor down."""
    having = {config.label for config in apps.get_app_configs() if (Path(config.path) / "migrations").is_dir()}
    return [app for floor in floors() for app in floor if app in having]


@pytest.mark.django_db(transaction=True)
def test_every_migration_goes_back_and_forth(author: Person) -> None:
    """Down to nothing from the top, and up again: the tables are the same."""
    before = set(connection.introspection.table_names())
    try:
        for app in ours():
            call_command("migrate", app, "zero", verbosity=0)
        left = [name for name in connection.introspection.table_names() if name.split("_")[0] in ours()]
        assert left == []
    finally:
        call_command("migrate", verbosity=0)
    assert set(connection.introspection.table_names()) == before


@pytest.mark.django_db
def test_the_demonstration_stands_on_postgresql(client_as: Callable[[Person], Client]) -> None:
    """Its files through the importers, its history through the services; then every list page answers."""
    load_demo(Size(animals=120, seasons=1), lambda text: None)
    facility_forget()
    assert Animal.objects.count() > 80
    client = client_as(Person.objects.get(email="halvard@fenwick.example"))
    wrong = {page: code for page in PAGES if (code := client.get(page).status_code) != 200}
    assert wrong == {}
    one = Animal.objects.filter(via_breeding_seasons__isnull=False).distinct().first()
    assert one is not None
    for page in (f"/animals/{one.ref}/", f"/season/{one.ref}/"):
        assert client.get(page).status_code == 200


@pytest.mark.django_db
def test_importing_twice_changes_nothing(owner: Person, knowledge: None, frozen: object) -> None:
    """The example files go in, and a second time nothing does."""
    from apps.dashboards.selectors.exchange import IMPORTERS

    folder = Path(settings.BASE_DIR) / "fixtures" / "examples"
    assert set(IMPORTERS) >= {"racks", "animals", "weights", "meals", "scans", "visits"}
    counts = []
    for _ in range(2):
        for kind in ("racks", "animals"):
            call_command("import_file", kind, str(folder / f"{kind}.csv"), "--by", owner.email)
        counts.append((Tub.objects.count(), Animal.objects.count()))
    assert counts[0] == counts[1]
    assert min(counts[0]) > 2
