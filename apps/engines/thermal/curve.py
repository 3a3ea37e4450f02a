"""Piecewise-linear inputs: what they are at both ends of every step of a grid."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from apps.engines.thermal.network import Floats


class CurveError(ValueError):
    """A curve whose hours run backwards, or which has no point."""


@dataclass(frozen=True)
class Curve:
    """Values at hours, linear between them and held flat outside. The same hour twice is a jump."""

    at_h: tuple[float, ...]
    value: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.at_h or len(self.at_h) != len(self.value):
            raise CurveError("a curve needs at least one point, and as many values as hours")
        if any(later < earlier for earlier, later in pairwise(self.at_h)):
            raise CurveError("hours of a curve must not run backwards")

    @classmethod
    def constant(cls, value: float) -> Curve:
        return cls((0.0,), (value,))

    def scaled(self, by: float) -> Curve:
        return Curve(self.at_h, tuple(v * by for v in self.value))


def grid_of(horizon_h: float, step_h: float, *knots: tuple[float, ...]) -> Floats:
    """Ascending hours from 0 to the horizon: every knot inside it, and no step longer than `step_h`."""
    inner = {0.0, float(horizon_h)}
    for hours in knots:
        inner.update(float(h) for h in hours if 0.0 < h < horizon_h)
    edges = sorted(inner)
    pieces = [np.array([0.0])]
    for low, high in pairwise(edges):
        count = max(1, int(np.ceil((high - low) / step_h - 1e-9)))
        piece = low + (high - low) * np.arange(1, count + 1) / count
        piece[-1] = high  # the knot itself, so that it can be looked up exactly
        pieces.append(piece)
    return np.concatenate(pieces)


@dataclass(frozen=True)
class _Segments:
    """Per step of a grid: the knots on either side, and how far along between them it starts and ends."""

    left: NDArray[np.intp]
    right: NDArray[np.intp]
    start: Floats
    end: Floats


def _segments(knots_h: Floats, grid_h: Floats) -> _Segments:
    """A step lies inside one segment (the grid holds every knot), found by its midpoint: jumps are no special case."""
    low_h, high_h = grid_h[:-1], grid_h[1:]
    after = np.searchsorted(knots_h, (low_h + high_h) / 2.0, side="right")
    left = np.clip(after - 1, 0, len(knots_h) - 1)
    right = np.clip(after, 0, len(knots_h) - 1)
    span = knots_h[right] - knots_h[left]
    flat = span <= 0.0
    safe = np.where(flat, 1.0, span)
    start = np.where(flat, 0.0, (low_h - knots_h[left]) / safe)
    end = np.where(flat, 0.0, (high_h - knots_h[left]) / safe)
    return _Segments(left, right, start, end)


def segment_weights(knots_h: Floats, grid_h: Floats) -> tuple[Floats, Floats]:
    """Matrices (steps, knots) giving a curve's value at the start and at the end of each step from its knot values."""
    found = _segments(knots_h, grid_h)
    rows = np.arange(len(found.left))

    def weights(share: Floats) -> Floats:
        out = np.zeros((len(rows), len(knots_h)))
        np.add.at(out, (rows, found.left), 1.0 - share)
        np.add.at(out, (rows, found.right), share)
        return out

    return weights(found.start), weights(found.end)


def on_grid(curve: Curve, grid_h: Floats) -> tuple[Floats, Floats]:
    """The curve at the start and at the end of each step of the grid, each (steps,)."""
    found = _segments(np.array(curve.at_h, dtype=float), grid_h)
    values = np.array(curve.value, dtype=float)
    low, rise = values[found.left], values[found.right] - values[found.left]
    return low + found.start * rise, low + found.end * rise
