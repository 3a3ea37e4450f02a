"""Shipped species profiles from fixtures/reference/species/*.yaml, read without a database: what-ifs need no more."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import yaml
from django.conf import settings

SEX_SYSTEMS = ("XY", "ZW", "TSD")
MODES = ("eggs", "live")
CONFIDENCES = ("published", "trade", "assumption", "house_rule")
_ROW_KEYS = {"key", "value", "unit", "source", "date", "confidence", "note"}


class ProfileFileError(ValueError):
    """A profile file is not as it must be; the message names file, row and fix."""


class UnknownSpecies(KeyError):
    """No shipped profile answers to this name. `near` holds close names."""

    def __init__(self, name: str, near: tuple[str, ...], known: tuple[str, ...]) -> None:
        super().__init__(name)
        self.name = name
        self.near = near
        self.known = known

    def __str__(self) -> str:
        hint = f"did you mean {' or '.join(self.near)}?" if self.near else f"known are {', '.join(self.known)}."
        return f"no shipped profile for species {self.name!r}: {hint}"


class MissingNumber(KeyError):
    """A profile lacks a number that was asked for."""

    def __init__(self, species: str, key: str, near: tuple[str, ...]) -> None:
        super().__init__(key)
        self.species = species
        self.key = key
        self.near = near

    def __str__(self) -> str:
        hint = f"; nearest keys: {', '.join(self.near)}" if self.near else ""
        return f"the profile of {self.species} has no number {self.key!r}{hint}"


@dataclass(frozen=True, slots=True)
class SpeciesNumber:
    """One number that drives advice, with where it comes from."""

    key: str
    value: float
    unit: str
    source: str
    date: date
    confidence: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class SpeciesProfile:
    """A shipped profile: names, sex system, mode and its numbers by key."""

    scientific: str
    common: str
    slug: str
    code_prefix: str
    sex_system: str
    mode: str
    venomous: bool
    aliases: tuple[str, ...]
    version: str
    rows: Mapping[str, SpeciesNumber] = field(repr=False)

    def number(self, key: str) -> float:
        """The value of `key`; raises MissingNumber naming near keys."""
        return self.row(key).value

    def get(self, key: str, default: float | None = None) -> float | None:
        """The value of `key`, or `default` where the profile does not say."""
        found = self.rows.get(key)
        return default if found is None else found.value

    def row(self, key: str) -> SpeciesNumber:
        """The whole row, for its unit, source and confidence."""
        found = self.rows.get(key)
        if found is None:
            near = difflib.get_close_matches(key, list(self.rows), n=3)
            raise MissingNumber(self.scientific, key, tuple(near))
        return found

    def values(self) -> dict[str, float]:
        """All numbers as a plain mapping, the form the engines take."""
        return {key: row.value for key, row in self.rows.items()}

    @property
    def names(self) -> tuple[str, ...]:
        """Every name this profile answers to."""
        return (self.scientific, self.common, self.slug, *self.aliases)


def _folder() -> Path:
    return Path(settings.BASE_DIR) / "fixtures" / "reference" / "species"


def _fold(name: str) -> str:
    return " ".join(name.replace("_", " ").split()).casefold()


@lru_cache(maxsize=1)
def shipped_profiles() -> tuple[SpeciesProfile, ...]:
    """All shipped profiles, ball python first, then by scientific name."""
    profiles = [read_profile(path) for path in sorted(_folder().glob("*.yaml"))]
    if not profiles:
        raise ProfileFileError(f"no species profile in {_folder().name}/: the installation lacks its reference data")
    return tuple(sorted(profiles, key=lambda p: (p.slug != "python-regius", p.scientific)))


@lru_cache(maxsize=1)
def _by_name() -> Mapping[str, SpeciesProfile]:
    names: dict[str, SpeciesProfile] = {}
    for profile in shipped_profiles():
        for name in profile.names:
            other = names.setdefault(_fold(name), profile)
            if other is not profile:
                raise ProfileFileError(f"{name!r} names both {other.scientific} and {profile.scientific}")
    return MappingProxyType(names)


def shipped_profile(name: str) -> SpeciesProfile:
    """The profile for a scientific or common name, slug or alias; raises UnknownSpecies with near names."""
    names = _by_name()
    found = names.get(_fold(name))
    if found is None:
        near = difflib.get_close_matches(_fold(name), list(names), n=3, cutoff=0.55)
        shown = tuple(dict.fromkeys(names[n].scientific for n in near))
        raise UnknownSpecies(name, shown, tuple(p.scientific for p in shipped_profiles()))
    return found


def read_profile(path: Path) -> SpeciesProfile:
    """Read and check one profile file; raises ProfileFileError naming the row and what is wrong."""
    try:
        data = yaml.safe_load(path.read_text(encoding="utf-8"))
    except yaml.YAMLError as error:
        raise ProfileFileError(f"{path.name}: not readable as YAML: {error}") from error
    if not isinstance(data, dict) or not {"species", "version", "numbers"} <= set(data):
        raise ProfileFileError(f"{path.name}: must hold species, version and numbers")
    head = data["species"]
    rows: dict[str, SpeciesNumber] = {}
    for index, raw in enumerate(data["numbers"], start=1):
        row = _read_row(path.name, index, raw)
        if row.key in rows:
            raise ProfileFileError(f"{path.name}: number {index}: {row.key} stands there twice")
        rows[row.key] = row
    try:
        profile = SpeciesProfile(
            scientific=str(head["scientific"]),
            common=str(head["common"]),
            slug=str(head["slug"]),
            code_prefix=str(head["code_prefix"]),
            sex_system=str(head["sex_system"]),
            mode=str(head["mode"]),
            venomous=bool(head["venomous"]),
            aliases=tuple(str(alias) for alias in head.get("aliases", ())),
            version=str(data["version"]),
            rows=MappingProxyType(rows),
        )
    except KeyError as error:
        raise ProfileFileError(f"{path.name}: species lacks {error.args[0]}") from error
    if profile.sex_system not in SEX_SYSTEMS or profile.mode not in MODES:
        raise ProfileFileError(f"{path.name}: sex_system is one of {SEX_SYSTEMS}, mode one of {MODES}")
    return profile


def _read_row(file: str, index: int, raw: Any) -> SpeciesNumber:
    where = f"{file}: number {index}"
    if not isinstance(raw, dict) or not _ROW_KEYS - {"note"} <= set(raw) <= _ROW_KEYS:
        raise ProfileFileError(f"{where}: a row has exactly key, value, unit, source, date, confidence and maybe note")
    value = raw["value"]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ProfileFileError(f"{where} ({raw['key']}): value must be one number, not {value!r}")
    if raw["confidence"] not in CONFIDENCES:
        raise ProfileFileError(f"{where} ({raw['key']}): confidence is one of {', '.join(CONFIDENCES)}")
    try:
        day = date.fromisoformat(str(raw["date"]))
    except ValueError as error:
        raise ProfileFileError(f"{where} ({raw['key']}): date must be an ISO date") from error
    return SpeciesNumber(
        key=str(raw["key"]),
        value=float(value),
        unit=str(raw["unit"]),
        source=str(raw["source"]),
        date=day,
        confidence=str(raw["confidence"]),
        note=str(raw.get("note", "")),
    )
