"""The shipped care sheets (fixtures/reference/care_sheets/*.yaml); no database."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml
from django.conf import settings


@lru_cache(maxsize=32)
def care_sheet(scientific: str) -> dict[str, Any] | None:
    """The sheet of a species, or None: then no care sheet is printed, rather than an invented one."""
    name = f"{scientific.lower().replace(' ', '-')}.yaml"
    path = Path(settings.BASE_DIR) / "fixtures/reference/care_sheets" / name
    if not path.exists():
        return None
    found: dict[str, Any] = yaml.safe_load(path.read_text(encoding="utf-8"))
    return found
