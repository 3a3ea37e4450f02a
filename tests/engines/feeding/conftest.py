"""The shipped ball python's numbers, the shipped house rules and the shipped prey: what the plan is asked with."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from apps.engines.feeding import (
    FeedingFacts,
    FeedingProfile,
    Meal,
    MealPlan,
    PlanRules,
    PreySize,
    PreyTable,
    Weight,
    feeding_profile,
    plan_meal,
    plan_rules,
)

REFERENCE = Path(__file__).resolve().parents[3] / "fixtures" / "reference"
TODAY = date(2027, 4, 6)


@cache
def numbers(slug: str = "python-regius") -> dict[str, float]:
    data = yaml.safe_load((REFERENCE / "species" / f"{slug}.yaml").read_text(encoding="utf-8"))
    return {row["key"]: float(row["value"]) for row in data["numbers"]}


@cache
def house_rules() -> PlanRules:
    data = yaml.safe_load((REFERENCE / "care" / "rules.yaml").read_text(encoding="utf-8"))
    return plan_rules({row["key"]: float(row["value"]) for row in data["numbers"]})


@cache
def profile(slug: str = "python-regius") -> FeedingProfile:
    found = feeding_profile(numbers(slug))
    assert found is not None
    return found


@cache
def prey(kind: str = "rat", how: str = "thawed") -> PreyTable:
    data = yaml.safe_load((REFERENCE / "care" / "prey.yaml").read_text(encoding="utf-8"))
    rows = [PreySize(r["prey"], r["size"], (r["low_g"] + r["high_g"]) / 2, r["most"]) for r in data["sizes"]]
    return PreyTable(tuple(rows), kind, how)


def ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def ate(days: int, grams: float | None = 150, outcome: str = "ate", **values: Any) -> Meal:
    common: dict[str, Any] = {"prey": "rat", "size": "large", "prey_g": grams}
    return Meal(on=ago(days), outcome=outcome, **{**common, **values})


def weighed(days: int, grams: float) -> Weight:
    return Weight(ago(days), grams)


def asked(**values: Any) -> MealPlan:
    """The plan of a grown ball python as of today; everything may be said otherwise."""
    common: dict[str, Any] = {"hatched_on": date(2020, 7, 1), "weights": (weighed(5, 1500),), "meals": (ate(15),)}
    return plan_meal(FeedingFacts(**{**common, **values}), profile(), house_rules(), prey(), TODAY)
