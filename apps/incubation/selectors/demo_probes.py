"""The demonstration's probes: what each would read now, repeatable for a moment and a probe."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta

from apps.places.models import Probe, Reading

STEP = timedelta(minutes=5)
WAVE_C, NOISE_C, WAVE_HOURS = 0.15, 0.05, 9.4
# beyond this a probe is not waving but off its target, and stays so until somebody mends the incubator
OFF_C = 0.6


def demo_reading(probe: Probe, last: Reading | None, at: datetime) -> tuple[datetime, float]:
    """(moment on the five-minute grid, °C) of an incubator's probe. Simulated; it advises nobody.

    Waves about the incubator's target; one that stood off its target goes on standing where it stood.
    """
    if probe.incubator is None:
        raise ValueError(f"{probe.name} hangs in no incubator")
    moment = at - timedelta(minutes=at.minute % 5, seconds=at.second, microseconds=at.microsecond)
    target_c = probe.incubator.target_c
    rng = random.Random(f"{probe.pk} {moment.isoformat()}")
    wave_c = WAVE_C * math.sin(moment.timestamp() / 3600 / WAVE_HOURS * math.tau) + rng.gauss(0, NOISE_C)
    off_c = last.temp_c - target_c if last is not None else 0.0
    if abs(off_c) > OFF_C:
        return moment, round(target_c + off_c + rng.gauss(0, NOISE_C), 2)
    return moment, round(target_c + wave_c, 2)
