"""The outside air that a parcel meets hour by hour: which place it stands at, and the forecast there with its error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from apps.engines.thermal.curve import grid_of, segment_weights
from apps.engines.thermal.network import Floats
from apps.engines.windows.weather import CLIMATOLOGY, HourlySeries, error_sd_at

PLACES = ("origin", "hub", "destination")


@dataclass(frozen=True)
class Leg:
    """Hours after hand-over that the parcel spends at a place."""

    from_h: float
    to_h: float
    place: str


@dataclass(frozen=True)
class ErrorModel:
    """Forecast error: standard deviation (C) against lead (h), hours of persistence, correlation between places."""

    lead_h: tuple[float, ...]
    sd_c: tuple[float, ...]
    persistence_h: float
    shared: float
    climatology_sd_c: float


@dataclass(frozen=True)
class LaneAir:
    """One day's outside air, ready to be stepped.

    `grid_h` (t,) output hours; `at_start`, `at_end` (t-1, k) weights of the k weather points at both ends of a step;
    `mean_c`, `sd_c` (k,) the points and the spread of their error; `place_of`, `hour_of` (k,) where in the draws each
    point's error is found.
    """

    hour_zero: datetime
    grid_h: Floats
    at_start: Floats
    at_end: Floats
    mean_c: Floats
    sd_c: Floats
    place_of: tuple[int, ...]
    hour_of: tuple[int, ...]

    def same_steps(self, other: LaneAir) -> bool:
        return (
            np.array_equal(self.grid_h, other.grid_h)
            and self.place_of == other.place_of
            and np.array_equal(self.at_start, other.at_start)
        )


def lane_air(
    hour_zero: datetime, legs: Sequence[Leg], weather: Mapping[str, HourlySeries], errors: ErrorModel, step_h: float
) -> LaneAir:
    """Join the legs' forecasts; the caller has made sure that every leg's place has weather without a long gap."""
    horizon_h = max(leg.to_h for leg in legs)
    place_names = sorted({leg.place for leg in legs})
    blocks: dict[str, tuple[Floats, slice]] = {}
    hours: list[float] = []
    mean: list[float] = []
    sd: list[float] = []
    place_of: list[int] = []
    for name in place_names:
        points = _points_near(weather[name], hour_zero, horizon_h)
        begin = len(hours)
        for at_h, temp_c in points:
            lead_h = ((hour_zero + timedelta(hours=at_h)) - weather[name].issued_at).total_seconds() / 3600.0
            climatology = weather[name].kind == CLIMATOLOGY
            hours.append(at_h)
            mean.append(temp_c)
            sd.append(errors.climatology_sd_c if climatology else error_sd_at(lead_h, errors.lead_h, errors.sd_c))
            place_of.append(PLACES.index(name))
        blocks[name] = (np.array(hours[begin:]), slice(begin, len(hours)))
    edges = tuple(edge for leg in legs for edge in (leg.from_h, leg.to_h))
    grid_h = grid_of(horizon_h, step_h, edges, tuple(hours))
    middle = (grid_h[:-1] + grid_h[1:]) / 2.0
    at_start = np.zeros((len(middle), len(hours)))
    at_end = np.zeros_like(at_start)
    for leg in legs:
        own_hours, columns = blocks[leg.place]
        rows = np.flatnonzero((middle >= leg.from_h) & (middle < leg.to_h))
        start, end = segment_weights(own_hours, grid_h)
        at_start[rows, columns], at_end[rows, columns] = start[rows], end[rows]
    hour_of = tuple(round(hour) for hour in hours)
    return LaneAir(hour_zero, grid_h, at_start, at_end, np.array(mean), np.array(sd), tuple(place_of), hour_of)


def _points_near(series: HourlySeries, hour_zero: datetime, horizon_h: float) -> list[tuple[float, float]]:
    """Points (hours after hand-over, C) from the last one before hour zero to the first one after the end."""
    at_h = [(moment - hour_zero).total_seconds() / 3600.0 for moment in series.at]
    before = [i for i, hour in enumerate(at_h) if hour <= 0.0]
    after = [i for i, hour in enumerate(at_h) if hour >= horizon_h]
    first = before[-1] if before else 0
    last = after[0] if after else len(at_h) - 1
    return [(at_h[i], series.temp_c[i]) for i in range(first, last + 1)]


def error_draws(rng: np.random.Generator, count: int, horizon_h: float, errors: ErrorModel) -> tuple[Floats, int]:
    """Standard normal errors (count, place, hour) that persist over hours and are partly shared between places.

    Also returns the index of hour 0. The same draws serve every day and packing, so that these can be compared.
    """
    margin = 4  # hours before hand-over and after arrival that a weather point may lie outside the lane
    length = int(np.ceil(horizon_h)) + 2 * margin + 1
    keep = float(np.exp(-1.0 / errors.persistence_h))
    fresh = rng.standard_normal((count, len(PLACES) + 1, length))
    steady = np.empty_like(fresh)
    steady[:, :, 0] = fresh[:, :, 0]
    for hour in range(1, length):
        steady[:, :, hour] = keep * steady[:, :, hour - 1] + np.sqrt(1.0 - keep * keep) * fresh[:, :, hour]
    shared = np.sqrt(errors.shared) * steady[:, :1, :]
    return shared + np.sqrt(1.0 - errors.shared) * steady[:, 1:, :], margin


def air_draws(air: LaneAir, draws: Floats, margin: int) -> Floats:
    """Weather points (k, draws): the forecast plus each draw's error."""
    hours = np.clip(np.array(air.hour_of) + margin, 0, draws.shape[2] - 1)
    errors = draws[:, np.array(air.place_of), hours]
    return air.mean_c[:, None] + air.sd_c[:, None] * errors.T
