"""Ten thousand animals in one pass, as a ratio to reading the same file without checking or writing anything."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.services.imports import AnimalsImporter
from apps.core.exchange import read_table, run_import

pytestmark = [pytest.mark.benchmark_suite, pytest.mark.usefixtures("knowledge", "frozen")]
ROWS = 10_000
TRAITS = ("normal", "Pastel", "Clown", "Pastel het Clown", "66% het Piebald", "")


def write_animals(path: Path) -> None:
    """Five generations; parents stand after their young, so that the order has to be found."""
    lines = ["code,species,sex,hatched_on,dam_code,sire_code,traits"]
    size = ROWS // 5
    for number in reversed(range(ROWS)):
        generation = number // size
        dam = sire = ""
        if generation:
            before = (generation - 1) * size
            dam = f"B-{before + (number * 7) % size // 2 * 2:05d}"
            sire = f"B-{before + (number * 11) % size // 2 * 2 + 1:05d}"
        sex = "female" if number % 2 == 0 else "male"
        traits = TRAITS[number % len(TRAITS)]
        lines.append(f"B-{number:05d},Python regius,{sex},{2015 + 2 * generation}-07-01,{dam},{sire},{traits}")
    path.write_text("\n".join(lines) + "\n")


def test_ten_thousand_animals(owner: Person, tmp_path: Path) -> None:
    """Checking and writing cost a few hundred times the bare reading at most; a repeat changes nothing."""
    path = tmp_path / "animals.csv"
    write_animals(path)
    began = time.perf_counter()
    read_table(path, AnimalsImporter.columns, max_bytes=50_000_000)
    reading = time.perf_counter() - began
    began = time.perf_counter()
    report = run_import(AnimalsImporter(owner), path, dry_run=False, max_bytes=50_000_000)
    whole = time.perf_counter() - began
    assert report.errors == []
    assert Animal.objects.count() == ROWS
    began = time.perf_counter()
    again = run_import(AnimalsImporter(owner), path, dry_run=False, max_bytes=50_000_000)
    repeat = time.perf_counter() - began
    assert again.counts.unchanged == ROWS
    print(f"\nreading {reading:.2f} s, import {whole:.2f} s ({whole / reading:.0f} x), repeat {repeat:.2f} s")  # noqa: T201
    assert whole < 500 * reading
