"""A kept window in words: verdict, chance, worst temperature, and every reason of every animal."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from apps.animals.models import Animal
from apps.animals.selectors import profile_numbers
from apps.core.formats import celsius_text
from apps.core.svg import MONTHS
from apps.engines.windows.finding import SEVERITY
from apps.shipping.choices import Verdict
from apps.shipping.models import ParcelWindow
from apps.shipping.pages.window_cell_svg import window_cell_svg

FINDINGS = ("law", "animal", "calendar", "weather", "physics")
ASKED = {
    "law": "law",
    "animal": "animal",
    "calendar": "calendar",
    "weather": "weather",
    "physics": "temperature inside",
}
_PLACE = re.compile(r"(?<=\.) (?=(?:Origin|Counter|Buyer) \()")
# In a cell there is room for a word or two: what stands in the way.
SHORT = {"law": "by law", "animal": "the animal", "calendar": "carrier's calendar", "weather": "weather"}


@dataclass(frozen=True)
class Reason:
    """One of the five answers."""

    name: str
    asked: str
    verdict: str
    reason: str
    citation: str

    @property
    def lines(self) -> list[str]:
        """The reason place by place: the law answers for the origin, the counter and the buyer."""
        return _PLACE.split(self.reason)


@dataclass(frozen=True)
class AnimalVerdict:
    """One animal of a parcel on one day."""

    code: str
    verdict: str
    reasons: tuple[Reason, ...]


def animal_verdicts(window: ParcelWindow) -> list[AnimalVerdict]:
    """Every animal with its five reasons; an animal that could not be judged says why under `animal`."""
    return [
        AnimalVerdict(
            code=row["code"],
            verdict=row["verdict"],
            reasons=tuple(
                Reason(name, ASKED[name], row[name]["verdict"], row[name]["reason"], row[name].get("citation") or "")
                for name in FINDINGS
                if row.get(name)
            ),
        )
        for row in window.answer.get("animals", [])
    ]


def deciding(window: ParcelWindow) -> Reason | None:
    """The first of the gravest reasons: law before the animal, before calendar, weather and temperature."""
    found = [reason for animal in animal_verdicts(window) for reason in animal.reasons]
    return max(found, key=lambda reason: (SEVERITY[reason.verdict], -FINDINGS.index(reason.name)), default=None)


def blocks(window: ParcelWindow, name: str) -> bool:
    """Whether this one of the five says no-go for any animal."""
    return any(
        reason.verdict == Verdict.NO_GO
        for animal in animal_verdicts(window)
        for reason in animal.reasons
        if reason.name == name
    )


def only_law_stands_against(window: ParcelWindow) -> bool:
    """Whether a permit would answer everything that forbids this day."""
    found = [reason for animal in animal_verdicts(window) for reason in animal.reasons]
    grave = [reason for reason in found if reason.verdict in {Verdict.NO_GO, Verdict.NEEDS_REVIEW}]
    return bool(grave) and all(reason.name == "law" for reason in grave)


def chance_words(probability: float | None) -> str:
    """To 5 %: the draws carry no more. Never 0 or 100 for what is only nearly so; empty where nothing was computed."""
    if probability is None:
        return ""
    if probability <= 0.025:
        return "under 5 %"
    if probability >= 0.975:
        return "over 95 %"
    return f"{5 * round(20 * probability)} %"


def reach_words(window: ParcelWindow, band_c: tuple[float, float] | None) -> str:
    """``low 19.2 °C``: the worst that is expected inside, on the side that is nearer to harm."""
    if window.worst_c is None:
        return ""
    if band_c is None:
        return f"reaches {celsius_text(window.worst_c)}"
    side = "low" if window.worst_c < sum(band_c) / 2 else "high"
    return f"{side} {celsius_text(window.worst_c)}"


def cell_bar(window: ParcelWindow, band_c: tuple[float, float] | None) -> str:
    """The small picture of a cell; empty where the physics was not computed."""
    low, high = window.answer.get("lowest_c"), window.answer.get("highest_c")
    if band_c is None or low is None or high is None:
        return ""
    return window_cell_svg(lowest_c=low, highest_c=high, band_c=band_c)


def numbers_of(animals: Iterable[Animal]) -> dict[int, Mapping[str, float]]:
    """The numbers of each species among them, by species id: asked once a species, however many animals."""
    species = {animal.species_id: animal.species for animal in animals}
    return {pk: profile_numbers(one) for pk, one in species.items()}


def narrowest_band(animals: Iterable[Animal], numbers: Mapping[int, Mapping[str, float]]) -> tuple[float, float] | None:
    """The green band that suits every animal of a parcel; None while a species has no profile for shipping."""
    found = [numbers[animal.species_id] for animal in animals]
    if not found or any("ship.green_low_c" not in row or "ship.green_high_c" not in row for row in found):
        return None
    low, high = max(row["ship.green_low_c"] for row in found), min(row["ship.green_high_c"] for row in found)
    return (low, high) if low < high else None


def weekday_words(day: date) -> str:
    """``Wed 7 Apr``."""
    return f"{day:%a} {day.day} {MONTHS[day.month - 1]}"
