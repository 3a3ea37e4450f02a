"""Conventions that newcomers keep because a test asks for them."""

from __future__ import annotations

import ast
import inspect
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

from django.apps import apps
from django.db import models

from apps.jobs.events import Event
from config.reactions import TABLE
from config.schedule import PERIODIC, ROUTES
from tests.architecture.floors import ROOT, floors, python_files

FILE_CAP = 500
FUNCTION_CAP = 60
# Only ever remove lines here.
SIZE_ALLOWED = set(tomllib.loads((Path(__file__).parent / "size_allowed.toml").read_text()).get("allowed", []))
OURS = sorted(app for floor in floors() for app in floor if app not in {"engines", "core"})


def functions(path: Path) -> Iterator[tuple[str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    """Every function of a file."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield f"{path.relative_to(ROOT)}:{node.name}", node


def test_files_and_functions_stay_small() -> None:
    """At most 500 lines a file and 60 a function, but for a list that only shrinks."""
    too_large = set()
    for path in python_files("apps", "config", "tests"):
        if len(path.read_text().splitlines()) > FILE_CAP and path.name != "models.py":
            too_large.add(str(path.relative_to(ROOT)))
        if "tests" in path.parts:
            continue
        too_large |= {name for name, node in functions(path) if (node.end_lineno or 0) - node.lineno + 1 > FUNCTION_CAP}
    assert too_large - SIZE_ALLOWED == set()
    assert SIZE_ALLOWED - too_large == set(), "these are small now: take them off the list"


def test_no_auto_named_migrations() -> None:
    """A migration says what it does."""
    names = [path.name for path in (ROOT / "apps").rglob("migrations/0*.py")]
    assert names
    assert [name for name in names if "_auto_" in name] == []


def test_data_migrations_can_be_reversed() -> None:
    """Every RunPython names its way back (or an explicit noop)."""
    wrong = []
    for path in (ROOT / "apps").rglob("migrations/0*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "RunPython":
                if len(node.args) < 2 and not any(k.arg == "reverse_code" for k in node.keywords):
                    wrong.append(str(path.relative_to(ROOT)))
    assert wrong == []


def test_moments_and_people_stand_in_pairs() -> None:
    """A nullable X_at with an X_by beside it is constrained so that both or neither stand."""
    wrong = []
    for model in apps.get_models():
        if model._meta.app_label not in OURS:
            continue
        names = {field.name for field in model._meta.get_fields()}
        checks = " ".join(str(c.condition) for c in model._meta.constraints if isinstance(c, models.CheckConstraint))
        for name in names:
            if not name.endswith("_at") or f"{name[:-3]}_by" not in names:
                continue
            if model._meta.get_field(name).null and not (name in checks and f"{name[:-3]}_by" in checks):
                wrong.append(f"{model.__name__}.{name}")
    assert sorted(wrong) == sorted(PAIRS_EXCUSED)


# Who carried it out may be unknown where the carrier or an import told us.
PAIRS_EXCUSED = ["Parcel.packed_at", "Visit.ended_at"]


def test_every_event_is_wired() -> None:
    """An event class that nobody handles is a promise nobody keeps."""
    import importlib

    found = set()
    for app in OURS:
        if not (ROOT / f"apps/{app}/events.py").exists():
            continue
        module = importlib.import_module(f"apps.{app}.events")
        found |= {
            item
            for item in vars(module).values()
            if inspect.isclass(item)
            and issubclass(item, Event)
            and item is not Event
            and item.__module__ == module.__name__
        }
    assert found
    assert sorted(e.name for e in found - set(TABLE)) == []
    assert len({event.name for event in found}) == len(found), "two events share a name"


def test_every_periodic_job_exists_and_has_a_queue() -> None:
    """The schedule names only tasks that exist, on the two queues."""
    from config.celery import app

    app.loader.import_default_modules()
    assert [job.task for job in PERIODIC if job.task not in app.tasks] == []
    assert {route["queue"] for route in ROUTES.values()} == {"watch", "work"}


def test_every_task_has_a_route() -> None:
    """A task without a queue would wait behind anything."""
    from config.celery import app

    app.loader.import_default_modules()
    ours = [name for name in app.tasks if not name.startswith("celery.")]
    assert sorted(name for name in ours if name not in ROUTES) == []


def test_services_take_keywords_and_a_person() -> None:
    """Every service is keyword-only, takes ``by`` and ``request_key``, and is named <entity>_<verb>."""
    wrong = []
    for app in OURS:
        for path in [*(ROOT / f"apps/{app}").glob("services.py"), *(ROOT / f"apps/{app}").glob("services/**/*.py")]:
            for name, node in functions(path):
                decorated = any(
                    isinstance(d, ast.Call) and getattr(d.func, "id", "") == "service" for d in node.decorator_list
                )
                if not decorated:
                    continue
                keywords = {arg.arg for arg in node.args.kwonlyargs}
                if node.args.args or not {"by", "request_key"} <= keywords or "_" not in node.name:
                    wrong.append(name)
    assert wrong == []


def test_no_browser_side_inline_code() -> None:
    """The content policy forbids inline script and style; a template that has one would silently break."""
    pattern = re.compile(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)|<style|\sstyle=|\son[a-z]+=", re.I)
    papers = re.compile(r"/papers?/|paper|slip|marking|sheet|label|card|poster", re.I)
    wrong = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "apps").rglob("*.html")
        if pattern.search(path.read_text()) and not papers.search(str(path))
    ]
    assert wrong == []


def test_nothing_names_a_machine_or_a_registry() -> None:
    """No machine path and no registry address in any file."""
    pattern = re.compile(
        "|".join(["/" + "work/main", "/root" + "/", "pypi" + r"\.org", "python" + "hosted", "registry\\." + "npm"])
    )
    wrong = []
    for folder in ("apps", "config", "docs", "fixtures", "tests"):
        for path in (ROOT / folder).rglob("*"):
            if path.suffix in {".py", ".md", ".html", ".yaml", ".txt", ".toml", ".css", ".js", ".csv"}:
                if pattern.search(path.read_text(errors="ignore")):
                    wrong.append(str(path.relative_to(ROOT)))
    assert wrong == []
