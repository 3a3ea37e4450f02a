"""The register of cautions (fixtures/reference/cautions.yaml): text, source, and where each is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import yaml
from django.conf import settings


@dataclass(frozen=True)
class Caution:
    """One caution and the templates that show it."""

    key: str
    title: str
    words: str
    source: str
    shown: tuple[str, ...]


@lru_cache(maxsize=1)
def cautions() -> Mapping[str, Caution]:
    """Every caution by key. Raises KeyError when a row lacks a part."""
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "cautions.yaml"
    rows = yaml.safe_load(path.read_text(encoding="utf-8"))["cautions"]
    return MappingProxyType(
        {
            row["key"]: Caution(row["key"], row["title"], row["words"], row["source"], tuple(row["shown"]))
            for row in rows
        }
    )
