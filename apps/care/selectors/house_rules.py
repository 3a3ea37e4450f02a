"""House rules of care from fixtures/reference/care/rules.yaml; they hold for every species."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import yaml
from django.conf import settings

ROW_KEYS = {"key", "value", "unit", "source", "date", "confidence"}


@lru_cache(maxsize=1)
def care_rules() -> Mapping[str, float]:
    """Every rule by key. Raises ValueError naming the row that lacks its unit or source."""
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "care" / "rules.yaml"
    data = yaml.safe_load(path.read_text(encoding="utf-8"))
    for row in data["numbers"]:
        if not set(row) >= ROW_KEYS:
            raise ValueError(f"{path.name}: {row.get('key')}: a number needs {', '.join(sorted(ROW_KEYS))}")
    return MappingProxyType({row["key"]: float(row["value"]) for row in data["numbers"]})
