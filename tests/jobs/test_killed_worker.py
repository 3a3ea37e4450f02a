"""Embedded mode (SQLite, messages in a folder): kill -9 of the worker loses no task and doubles no effect."""

from __future__ import annotations

from pathlib import Path

from tests.jobs.killed import House, killed_in_mid_task


def test_kill_nine_in_mid_task_without_redis(tmp_path: Path) -> None:
    """The worker dies between effect and commit; the next one does it once."""
    killed_in_mid_task(House(tmp_path, {}))
