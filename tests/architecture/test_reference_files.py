"""Every file of shipped knowledge can be read, so that a careless merge is noticed where it happens."""

from __future__ import annotations

import yaml

from tests.architecture.floors import ROOT


def test_every_reference_file_parses() -> None:
    """YAML, and a mapping at its top."""
    files = sorted((ROOT / "fixtures/reference").rglob("*.yaml"))
    assert len(files) > 8
    assert [path.name for path in files if not isinstance(yaml.safe_load(path.read_text()), dict)] == []
