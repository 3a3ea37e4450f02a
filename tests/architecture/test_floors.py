"""The house stands: nothing looks up, in Python, in the database, in templates or by name."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from django.apps import apps
from django.contrib.contenttypes.fields import GenericForeignKey
from django.db import models

from tests.architecture.floors import ROOT, app_of, floors, height, python_files

OURS = sorted(app for floor in floors() for app in floor if app not in {"engines", "core"})


def our_models() -> list[type[models.Model]]:
    """Models of our apps."""
    return [model for model in apps.get_models() if model._meta.app_label in OURS]


def test_import_contracts_hold() -> None:
    """import-linter: floors, order inside an app, engines pure and one-way, no config from apps, no cycle."""
    run = subprocess.run(
        [sys.executable, "-c", "import sys; from importlinter.cli import lint_imports_command as run; run()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_a_floor_exists_for_every_app() -> None:
    """Every folder under apps/ has chosen its floor."""
    folders = {path.name for path in (ROOT / "apps").iterdir() if path.is_dir() and not path.name.startswith("__")}
    assert folders == {app for floor in floors() for app in floor}


def test_foreign_keys_point_down() -> None:
    """Every relation points to its own floor or a lower one."""
    wrong = [
        f"{model.__name__}.{field.name} -> {field.related_model.__name__}"
        for model in our_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.ForeignKey | models.ManyToManyField)
        and isinstance(field.related_model, type)
        and height(field.related_model._meta.app_label) > height(model._meta.app_label)
    ]
    assert wrong == []


def test_no_generic_foreign_keys() -> None:
    """A generic relation has no integrity and hides an upward look."""
    wrong = [m.__name__ for m in our_models() for f in m._meta.private_fields if isinstance(f, GenericForeignKey)]
    assert wrong == []


def test_reverse_accessors_are_hidden_or_marked() -> None:
    """A relation across floors is reachable from below only as via_<app>_…, so that upward use can be found."""
    wrong = []
    for model in our_models():
        for field in model._meta.get_fields():
            if not isinstance(field, models.ForeignKey | models.ManyToManyField) or field.auto_created:
                continue
            target = field.related_model
            if not isinstance(target, type) or target._meta.app_label in {model._meta.app_label, "auth"}:
                continue
            name = field.remote_field.related_name or ""
            if not (name.endswith("+") or name.startswith(f"via_{model._meta.app_label}_")):
                wrong.append(f"{model.__name__}.{field.name}: related_name={name!r}")
    assert wrong == []


@pytest.mark.parametrize("app", OURS)
def test_no_upward_names_in_strings(app: str) -> None:
    """No get_model, dotted string or via_ accessor that names a higher floor."""
    higher = [other for other in OURS if height(other) > height(app)]
    if not higher:
        return
    pattern = re.compile(
        "|".join(
            rf"via_{other}_|get_model\(\s*[\"']{other}|[\"']apps\.{other}\.|[\"']{other}:[a-z-]+[\"']"
            for other in higher
        )
    )
    wrong = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in python_files(f"apps/{app}")
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if pattern.search(line)
    ]
    assert wrong == []


def test_template_links_point_down() -> None:
    """{% url %}, {% include %} and {% extends %} of a floor name only itself or lower floors."""
    wrong = []
    for path in (ROOT / "apps").rglob("*.html"):
        app = app_of(path)
        text = path.read_text()
        named = re.findall(r"{%\s*url\s+[\"']([a-z]+):", text)
        named += re.findall(r"{%\s*(?:include|extends)\s+[\"']([a-z]+)/", text)
        wrong += [f"{path.relative_to(ROOT)} -> {other}" for other in named if height(other) > height(app)]
    assert wrong == []


def test_engines_run_without_django() -> None:
    """Every engine imports where Django is not installed."""
    code = (
        "import sys, pkgutil, importlib\n"
        "class Block:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name.split('.')[0] in {'django', 'rest_framework', 'celery'}: raise ImportError(name)\n"
        "sys.meta_path.insert(0, Block())\n"
        "import apps.engines as e\n"
        "names = [m.name for m in pkgutil.walk_packages(e.__path__, 'apps.engines.')]\n"
        "[importlib.import_module(n) for n in names]\n"
        "print(len(names))\n"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert int(run.stdout) >= 8
