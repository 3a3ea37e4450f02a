"""The floor list, read from pyproject so that there is one source of truth."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent.parent


def pyproject() -> dict[str, Any]:
    """pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text())


def floors() -> list[frozenset[str]]:
    """Floors from the top down; apps on one floor stand together."""
    contract = next(c for c in pyproject()["tool"]["importlinter"]["contracts"] if c["id"] == "floors")
    return [frozenset(part.strip() for part in layer.split("|")) for layer in contract["layers"]]


def height(app: str) -> int:
    """Larger is higher. Django's own apps lie below everything."""
    for index, floor in enumerate(reversed(floors())):
        if app in floor:
            return index
    return -1


def app_of(path: Path) -> str:
    """The app a file under apps/ belongs to."""
    return path.relative_to(ROOT / "apps").parts[0]


def python_files(*folders: str) -> list[Path]:
    """Hand-written Python files (no migrations)."""
    found = [path for folder in folders for path in (ROOT / folder).rglob("*.py")]
    return sorted(path for path in found if "migrations" not in path.parts and "__pycache__" not in path.parts)
