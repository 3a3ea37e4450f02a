"""The committed files of the demonstration are what its generator writes: nobody edits the one and not the other."""

from __future__ import annotations

from pathlib import Path

from config.demo.files import FILES, write_files
from config.demo.world import Size

COMMITTED = Path(__file__).parents[2] / "fixtures" / "demo"
WRITE_ANEW = "write them anew: manage.py demo_files"


def test_the_committed_files_are_the_generators(tmp_path: Path) -> None:
    """Byte for byte; seasons have the females that demo stories tell of."""
    _, rows = write_files(tmp_path, Size())
    differ = [
        name for name in FILES if (tmp_path / f"{name}.csv").read_bytes() != (COMMITTED / f"{name}.csv").read_bytes()
    ]
    assert differ == [], WRITE_ANEW
    assert {year: len(courses) for year, courses in rows.courses.items()} == {2024: 181, 2025: 203, 2026: 214}
