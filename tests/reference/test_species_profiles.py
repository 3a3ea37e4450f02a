"""The shipped species profiles: complete, sourced, and refused with the row named when they are not."""

from __future__ import annotations

from pathlib import Path

import pytest

from apps.animals.selectors.knowledge_species import (
    MissingNumber,
    ProfileFileError,
    UnknownSpecies,
    read_profile,
    shipped_profile,
    shipped_profiles,
)
from apps.engines.development import profile_from_numbers as development_profile
from apps.engines.follicles import profile_from_numbers as follicle_profile

SPECIES = {
    "Python regius": ("XY", "eggs", "PR"),
    "Pantherophis guttatus": ("ZW", "eggs", "PG"),
    "Boa imperator": ("XY", "live", "BI"),
    "Eublepharis macularius": ("TSD", "eggs", "LG"),
}
GOOD = """
species: {scientific: A b, common: c, slug: a-b, code_prefix: AB, sex_system: XY, mode: eggs, venomous: false}
version: "2026-11-25"
numbers:
  - {key: lines.stop_mm, value: 35, unit: mm, source: house, date: "2026-11-25", confidence: house_rule}
"""


def test_the_four_species_are_there_with_sex_system_and_mode() -> None:
    assert {p.scientific: (p.sex_system, p.mode, p.code_prefix) for p in shipped_profiles()} == SPECIES
    assert not any(profile.venomous for profile in shipped_profiles())


@pytest.mark.parametrize("name", SPECIES)
def test_every_number_has_unit_and_source(name: str) -> None:
    profile = shipped_profile(name)
    for row in profile.rows.values():
        assert row.unit, row.key
        assert row.source, row.key
        if row.confidence == "house_rule":
            assert "doi" not in row.source or "house rule" in row.source, row.key


@pytest.mark.parametrize("name", SPECIES)
def test_engines_build_from_the_shipped_numbers(name: str) -> None:
    profile = shipped_profile(name)
    assert follicle_profile(profile.values()).lines_stop_mm == profile.number("lines.stop_mm")
    if profile.mode == "eggs":
        assert development_profile(profile.values()).sex_by_temperature is (profile.sex_system == "TSD")
    else:
        with pytest.raises(KeyError):
            development_profile(profile.values())


@pytest.mark.parametrize("name", SPECIES)
def test_lines_and_bands_stand_in_order(name: str) -> None:
    n = shipped_profile(name).number
    lines = [n(f"lines.{line}_mm") for line in ("pair_in_earnest", "appetite", "stop", "ovulation")]
    assert lines == sorted(lines)
    assert n("scan.possible_low_mm") < lines[0] < n("scan.dominant_mm") < lines[2] < n("scan.possible_high_mm")
    bands = [
        n(f"ship.{key}_c") for key in ("red_low", "amber_low", "green_low", "green_high", "amber_high", "red_high")
    ]
    assert bands == sorted(bands)
    assert n("mass.possible_low_g") < n("young.mass_low_g") < n("gate.breeding_weight_g") < n("mass.possible_high_g")


@pytest.mark.parametrize("name", SPECIES)
def test_intervals_ascend(name: str) -> None:
    profile = shipped_profile(name)
    for key in profile.rows:
        if key.endswith("_p10"):
            stem = key.removesuffix("_p10")
            middle = profile.get(f"{stem}_p50", 1.0)  # development ratios have a median of 1 by definition
            assert middle is not None
            assert profile.number(key) < middle < profile.number(f"{stem}_p90")


def test_figures_with_a_published_source() -> None:
    """Each read in the source named on its row; repeated here so that an edit of the file is noticed."""
    n = shipped_profile("Python regius").number
    # large (dominant) follicle: J. Herpetol. Med. Surg. 26(3-4):108, abstract
    assert n("scan.dominant_mm") == 20
    # egg mass, hatchling mass: Myhrvold et al. 2015, Ecology 96:3109
    assert n("egg.mass_g") == 94.07
    assert n("young.mass_g") == 55
    # brooding costs less than 6 % of mass in two months: Aubret et al. 2005, Anim. Behav. 69:1043-1053
    assert n("mass.loss_alarm_pct") == 6
    # two databases carry 8,858 g as adult mass, which is wrong (females 1,235 g); it must never be loaded
    assert 8858 not in shipped_profile("Python regius").values().values()


def test_names_slugs_and_aliases_find_the_profile_in_any_case() -> None:
    for name in ("Python regius", "python REGIUS", "Ball  Python", "python-regius", "royal python"):
        assert shipped_profile(name).slug == "python-regius"


def test_unknown_names_get_near_ones_and_missing_keys_too() -> None:
    with pytest.raises(UnknownSpecies, match="did you mean Python regius"):
        shipped_profile("ball pyton")
    with pytest.raises(UnknownSpecies, match="known are Python regius"):
        shipped_profile("zzz")
    with pytest.raises(MissingNumber, match=r"lines\.stop_mm"):
        shipped_profile("Python regius").number("lines.stop")
    assert shipped_profile("Python regius").get("lines.stop") is None


@pytest.mark.parametrize(
    ("find", "put", "said"),
    [
        ("value: 35", "value: thirty", "must be one number"),
        ("value: 35", "value: true", "must be one number"),
        ("confidence: house_rule", "confidence: sure", "confidence is one of"),
        ('date: "2026-11-25", c', "date: soon, c", "ISO date"),
        ("source: house, ", "", "a row has exactly"),
        ("mode: eggs", "mode: spores", "mode one of"),
        ("code_prefix: AB, ", "", "lacks code_prefix"),
        ("numbers:", "figures:", "must hold species, version and numbers"),
    ],
)
def test_a_faulty_file_is_refused_with_its_place(tmp_path: Path, find: str, put: str, said: str) -> None:
    assert find in GOOD
    path = tmp_path / "a-b.yaml"
    path.write_text(GOOD.replace(find, put), encoding="utf-8")
    with pytest.raises(ProfileFileError, match=said) as caught:
        read_profile(path)
    assert "a-b.yaml" in str(caught.value)


def test_a_good_file_is_read_and_a_repeated_key_refused(tmp_path: Path) -> None:
    path = tmp_path / "a-b.yaml"
    path.write_text(GOOD, encoding="utf-8")
    assert read_profile(path).number("lines.stop_mm") == 35
    path.write_text(GOOD + GOOD.splitlines()[-1] + "\n", encoding="utf-8")
    with pytest.raises(ProfileFileError, match="stands there twice"):
        read_profile(path)
