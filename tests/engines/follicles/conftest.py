"""The shipped profiles as the engine takes them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from apps.animals.selectors.knowledge_species import shipped_profile
from apps.engines.follicles import FollicleProfile, Scan, SeasonFacts, Visit, Weight, profile_from_numbers

AS_OF = date(2027, 4, 6)


@pytest.fixture(scope="session")
def python() -> FollicleProfile:
    return profile_from_numbers(shipped_profile("Python regius").values())


@pytest.fixture(scope="session")
def profile_of() -> Callable[[str], FollicleProfile]:
    return lambda name: profile_from_numbers(shipped_profile(name).values())


def ago(days: int, as_of: date = AS_OF) -> date:
    return as_of - timedelta(days=days)


def scans(*rows: tuple[int, float]) -> tuple[Scan, ...]:
    """Readings given as (days ago, mm)."""
    return tuple(Scan(ago(days), mm, ref=f"scan:{days}") for days, mm in rows)


def visits(*rows: tuple[int, bool]) -> tuple[Visit, ...]:
    """Visits given as (days ago, locked)."""
    return tuple(Visit(ago(days), locked, ref=f"visit:{days}") for days, locked in rows)


def ready(**more: object) -> SeasonFacts:
    """A female whose gate is open: eight years old, 1,743 g three days ago."""
    facts: dict[str, object] = {"hatched_on": date(2018, 7, 11), "weights": (Weight(ago(3), 1743, "weight:1"),)}
    return SeasonFacts(**{**facts, **more})  # type: ignore[arg-type]
