"""A parcel's predicted course: the band, the air outside, the animal with its fan, the failed pack, the legs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from apps.core import svg

LEFT, RIGHT, TOP, FOOT = 30.0, 64.0, 12.0, 34.0
STEP_C = 5


@dataclass(frozen=True, slots=True)
class LegMark:
    """A leg on the foot line: hours after hand-over and its words."""

    from_h: float
    to_h: float
    words: str


@dataclass(frozen=True, slots=True)
class TraceFacts:
    """What is drawn. Hours after hand-over; temperatures in C; clock words stand under the first and last hour."""

    at_h: Sequence[float]
    outside_c: Sequence[float]
    expected_c: Sequence[float]
    low_c: Sequence[float]
    high_c: Sequence[float]
    failed_c: Sequence[float] | None
    band_c: tuple[float, float]
    red_c: tuple[float, float]
    legs: Sequence[LegMark]
    begins: str
    ends: str


def parcel_trace_svg(
    facts: TraceFacts, *, for_buyer: bool = False, width: float = 640, height: float = 220, paper: bool = False
) -> str:
    """The picture; an empty string for fewer than two hours. The failed pack is never drawn for a buyer."""
    if len(facts.at_h) < 2:
        return ""
    failed = None if for_buyer else facts.failed_c
    shown = [*facts.outside_c, *facts.low_c, *facts.high_c, *facts.band_c, *(failed or ())]
    low = STEP_C * (min(shown) // STEP_C)
    high = STEP_C * (max(shown) // STEP_C + 1)
    x = svg.Linear(facts.at_h[0], facts.at_h[-1], LEFT, width - RIGHT)
    y = svg.Linear(low, high, height - FOOT, TOP)
    right = width - RIGHT
    body = [svg.rect(LEFT, y(facts.band_c[1]), right - LEFT, y(facts.band_c[0]) - y(facts.band_c[1]), "f-print-3")]
    body += _axis(low, high, y, right)
    body += [svg.line(LEFT, y(red), right, y(red), "l-quiet l-dots") for red in facts.red_c if low < red < high]
    fan = [(x(h), y(t)) for h, t in zip(facts.at_h, facts.high_c, strict=True)]
    fan += [(x(h), y(t)) for h, t in reversed(list(zip(facts.at_h, facts.low_c, strict=True)))]
    body.append(svg.path(fan, "fan", close=True))
    lines: list[tuple[Sequence[float], str, str, str]] = [(facts.outside_c, "l-print", "outside", "t-print")]
    if failed is not None:
        lines.append((failed, "l-needs l-dash", "failed pack", "t-needs"))
    lines.append((facts.expected_c, "l-ink l-wide", "animal", "t-ink t-bold"))
    for temps, cls, _, _ in lines:
        body.append(svg.path([(x(h), y(t)) for h, t in zip(facts.at_h, temps, strict=True)], cls))
    body += _names([(y(temps[-1]), words, cls) for temps, _, words, cls in lines], right)
    body += _legs(facts, x, height)
    return svg.picture(width, height, body, title="Predicted temperature", desc=_spoken(facts, failed), paper=paper)


def _axis(low: float, high: float, y: svg.Linear, right: float) -> list[str]:
    every = STEP_C if high - low <= 40 else 2 * STEP_C
    found: list[str] = []
    for temp_c in range(int(low), int(high) + 1, every):
        found.append(svg.line(LEFT, y(temp_c), right, y(temp_c), "l-print-2"))
        words = f"{temp_c} °C" if temp_c + every > high else f"{temp_c}".replace("-", "−")
        found.append(svg.text(LEFT - 4, y(temp_c) + 4, words.replace("-", "−"), "t-print t-10", anchor="end"))
    return found


def _names(ends: list[tuple[float, str, str]], right: float) -> list[str]:
    """Names at the right end of their lines, pushed apart so that they never overlap."""
    found: list[str] = []
    at = float("-inf")
    for end_y, words, cls in sorted(ends):
        at = max(end_y + 4, at + 12)
        found.append(svg.text(right + 5, at, words, f"{cls} t-10"))
    return found


def _legs(facts: TraceFacts, x: svg.Linear, height: float) -> list[str]:
    foot = height - FOOT
    found = [svg.line(x(facts.at_h[0]), foot, x(facts.at_h[-1]), foot, "axis")]
    for leg in facts.legs:
        found.append(svg.line(x(leg.from_h), foot, x(leg.from_h), foot + 6, "axis"))
        if svg.text_width(leg.words, 10) <= x(leg.to_h) - x(leg.from_h) - 4:
            found.append(svg.text((x(leg.from_h) + x(leg.to_h)) / 2, foot + 14, leg.words, "t-10", anchor="middle"))
    found.append(svg.text(x(facts.at_h[0]), height - 4, facts.begins, "t-second t-10"))
    found.append(svg.text(x(facts.at_h[-1]), height - 4, facts.ends, "t-second t-10", anchor="end"))
    return found


def _spoken(facts: TraceFacts, failed: Sequence[float] | None) -> str:
    words = (
        f"The animal is expected between {min(facts.expected_c):.1f} and {max(facts.expected_c):.1f} °C; "
        f"its band is {facts.band_c[0]:g} to {facts.band_c[1]:g} °C. "
        f"Outside air between {min(facts.outside_c):.1f} and {max(facts.outside_c):.1f} °C."
    )
    if failed is not None:
        words += f" With a failed pack between {min(failed):.1f} and {max(failed):.1f} °C."
    return words
