"""House rules of care from fixtures/reference/care/rules.yaml; they hold for every species."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, cast

import yaml
from django.conf import settings

from apps.care.choices import HealthSign

ROW_KEYS = {"key", "value", "unit", "source", "date", "confidence"}


@lru_cache(maxsize=1)
def _rules_file() -> dict[str, Any]:
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "care" / "rules.yaml"
    return cast("dict[str, Any]", yaml.safe_load(path.read_text(encoding="utf-8")))


@lru_cache(maxsize=1)
def care_rules() -> Mapping[str, float]:
    """Every rule by key. Raises ValueError naming the row that lacks its unit or source."""
    data = _rules_file()
    for row in data["numbers"]:
        if not set(row) >= ROW_KEYS:
            raise ValueError(f"care rules: {row.get('key')}: a number needs {', '.join(sorted(ROW_KEYS))}")
    return MappingProxyType({row["key"]: float(row["value"]) for row in data["numbers"]})


@lru_cache(maxsize=1)
def urgent_signs() -> frozenset[str]:
    """Health signs after which an open note is late sooner. Raises ValueError for a word outside the list of signs."""
    signs = frozenset(_rules_file()["urgent_signs"])
    unknown = sorted(signs - set(HealthSign.values))
    if unknown:
        raise ValueError(f"care rules: urgent_signs: “{unknown[0]}” is not a health sign")
    return signs
