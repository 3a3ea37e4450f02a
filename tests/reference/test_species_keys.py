"""Every species number that the code asks for by name stands in every species it applies to."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from apps.animals.selectors.knowledge_species import SpeciesProfile, shipped_profiles

APPS = Path(__file__).parents[2] / "apps"
KEYS = {key for profile in shipped_profiles() for key in profile.rows}
GROUPS = "|".join(sorted({key.split(".")[0] for key in KEYS}))
# A key as it is asked for: numbers["a.b"], .get("a.b"), .number("a.b"), species_number(species, "a.b").
ASKED = re.compile(rf'(?:\.get\(\s*|number\([^"\n]*|numbers\[\s*)"((?:{GROUPS})\.[a-z0-9_]+)"')
EGGS_ONLY = ("development.", "incubation.", "egg.")


def asked() -> dict[str, set[str]]:
    """Keys by the files that name them."""
    found: dict[str, set[str]] = {}
    for path in APPS.rglob("*.py"):
        for match in ASKED.finditer(path.read_text(encoding="utf-8")):
            found.setdefault(match[1], set()).add(str(path.relative_to(APPS)))
    return found


def applies(key: str, profile: SpeciesProfile) -> bool:
    """Egg rules to egg-layers, temperature-dependent sex to the species that has it."""
    if key.startswith("sex."):
        return profile.sex_system == "TSD"
    return profile.mode == "eggs" or not key.startswith(EGGS_ONLY)


def test_the_search_finds_what_the_code_asks_for() -> None:
    """A guard on the pattern: known askers are among the finds."""
    found = asked()
    assert {"lineage.stored_sperm_share", "hatch.odd_below", "incubation.check_days", "development.k_c_days"} <= set(
        found
    )
    assert len(found) > 40


@pytest.mark.parametrize("profile", shipped_profiles(), ids=lambda profile: profile.slug)
def test_what_is_asked_for_is_there_where_it_applies(profile: SpeciesProfile) -> None:
    wanting = {
        key: sorted(files) for key, files in asked().items() if applies(key, profile) and key not in profile.rows
    }
    assert wanting == {}


@pytest.mark.parametrize("profile", shipped_profiles(), ids=lambda profile: profile.slug)
def test_rules_of_eggs_are_not_given_to_live_bearers(profile: SpeciesProfile) -> None:
    there = [key for key in profile.rows if key.startswith(EGGS_ONLY)]
    assert bool(there) is (profile.mode == "eggs")


def test_one_unit_a_key() -> None:
    """The same key means the same thing in every species."""
    units: dict[str, set[str]] = {}
    for profile in shipped_profiles():
        for key, row in profile.rows.items():
            units.setdefault(key, set()).add(row.unit)
    assert {key: found for key, found in units.items() if len(found) > 1} == {}


def test_published_rows_name_what_was_read() -> None:
    """`published` needs a paper: a year, and an author or a journal beside it."""
    for profile in shipped_profiles():
        for row in profile.rows.values():
            if row.confidence == "published":
                assert re.search(r"\b(19|20)\d\d\b|\d+\(\d", row.source), (profile.slug, row.key, row.source)
                assert "no source" not in row.source, (profile.slug, row.key)
            if row.confidence == "trade":
                assert "practice" in row.source or re.search(r"\b(19|20)\d\d\b", row.source), (profile.slug, row.key)


def test_the_published_lines_of_scans_and_seasons() -> None:
    """Follicular cycle in ball pythons, J. Herpetol. Med. Surg. 26(3-4):108 (abstract): 20 mm, 1 of 4 regressed."""
    python = next(profile for profile in shipped_profiles() if profile.slug == "python-regius")
    for key, value in (("scan.dominant_mm", 20), ("season.regression_share", 0.25)):
        assert python.number(key) == value
        assert python.row(key).confidence == "published"
        assert "26(3-4):108" in python.row(key).source
    # The start, appetite and stop diameters have no publication behind them, and say so.
    for line in ("pair_in_earnest", "appetite", "stop", "ovulation"):
        assert python.row(f"lines.{line}_mm").confidence in {"trade", "house_rule"}
    # No scan error of snakes is published: the default stays marked as an assumption.
    assert python.row("scan.error_sd_mm").confidence == "assumption"
    assert 1.0 <= python.number("scan.error_sd_mm") <= 1.5


@pytest.mark.parametrize("profile", shipped_profiles(), ids=lambda profile: profile.slug)
def test_the_fast_before_travel_is_one_length(profile: SpeciesProfile) -> None:
    """The hold of a parcel and the readiness of a young say the same, one in hours, one in days."""
    hours = profile.rows["hold.before_ship_meal_h"].value
    assert hours == profile.rows["ready.last_meal_hold_days"].value * 24
