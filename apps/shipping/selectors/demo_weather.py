"""The demo's weather: a simulated forecast for any place of a lane, repeatable from its seed."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml
from django.conf import settings

from apps.engines.windows.weather import Climate, Episode, HourlySeries, simulated_weather
from apps.shipping.selectors.knowledge import shipped_policy


@lru_cache(maxsize=1)
def _file() -> dict[str, Any]:
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "shipping" / "demo_weather.yaml"
    found: dict[str, Any] = yaml.safe_load(path.read_text(encoding="utf-8"))
    return found


def demo_forecast(
    *, place_key: str, state: str, issued_at: datetime, seed: int, days: int | None = None
) -> HourlySeries:
    """A simulated hourly forecast (kind `simulated`) for a place in a state, from the hour of `issued_at`.

    The same arguments give the same series; a later issue sees the same days with a smaller error.
    """
    data = _file()
    climates = data["climates"]
    climate = Climate(**{name: float(value) for name, value in climates.get(state, climates["default"]).items()})
    episodes = [
        Episode(
            place_key,
            datetime.fromisoformat(row["begins"]),
            datetime.fromisoformat(row["ends"]),
            float(row["shift_c"]),
            float(row["edge_h"]),
        )
        for row in data["episodes"]
        if not row["states"] or state in row["states"]
    ]
    errors = shipped_policy().weather.errors
    return simulated_weather(
        place_key,
        issued_at,
        days if days is not None else int(data["days"]),
        seed,
        climate=climate,
        error_lead_h=errors.lead_h,
        error_sd_c=errors.sd_c,
        episodes=episodes,
    )
