"""The demonstration as files a user could have written: CSV by the importers' own headers."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from config.demo.lineage import Collection, collection
from config.demo.seasons import SeasonRows, season_rows
from config.demo.world import ROOMS, Size, racks

FILES = ("racks", "animals", "weights", "meals", "scans", "visits", "cycles")


def write_files(folder: Path, size: Size) -> tuple[Collection, SeasonRows]:
    """Write every file of the demonstration; returns what was generated."""
    folder.mkdir(parents=True, exist_ok=True)
    made = collection(size)
    rows = season_rows(size, made)
    _write(folder / "racks.csv", _rack_rows(size))
    _write(folder / "animals.csv", _animal_rows(made))
    _write(folder / "weights.csv", rows.weights)
    _write(folder / "meals.csv", rows.meals)
    _write(folder / "scans.csv", rows.scans)
    _write(folder / "visits.csv", rows.visits)
    _write(folder / "cycles.csv", rows.cycles)
    return made, rows


def _rack_rows(size: Size) -> list[dict[str, str]]:
    rooms = {name: (site, kind, group) for site, name, kind, group, _ in ROOMS}
    return [
        {
            "site": rooms[plan.room][0],
            "room": plan.room,
            "room_kind": rooms[plan.room][1],
            "health_group": rooms[plan.room][2],
            "rack": plan.rack,
            "levels": str(plan.levels),
            "tubs_per_level": str(plan.columns),
            "label_prefix": plan.prefix,
        }
        for plan in racks(size)
    ]


def _animal_rows(made: Collection) -> list[dict[str, str]]:
    return [
        {
            "code": animal.code,
            "species": animal.species,
            "sex": animal.sex,
            "hatched_on": animal.hatched_on.isoformat() if animal.hatched_on else "",
            "dam_code": animal.dam,
            "sire_code": animal.sire,
            "traits": animal.traits,
            "origin": animal.origin,
            "acquired_on": animal.acquired_on.isoformat() if animal.acquired_on else "",
            "acquired_from": animal.acquired_from,
            "purpose": animal.purpose,
            "tub": animal.tub,
            "status": animal.status,
        }
        for animal in made.animals
    ]


def _write(path: Path, rows: Sequence[Mapping[str, str]] | Iterable[Mapping[str, str]]) -> None:
    listed = list(rows)
    with path.open("w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, list(listed[0]) if listed else ["code"], lineterminator="\n")
        writer.writeheader()
        writer.writerows(listed)
