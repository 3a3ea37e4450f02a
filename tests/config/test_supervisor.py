"""The supervisor restarts what dies, gives up on what keeps dying, and leaves nothing behind."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest
from django.core.management.base import CommandError

from config.management.commands.start import check_port
from config.supervisor import MAX_QUICK, AlreadyRunning, Child, hold_folder
from tests.architecture.floors import ROOT

RUN = """
import sys
from config.supervisor import Child, Supervisor
import config.supervisor as s
s.QUICK_SECONDS = {quick}
s.MAX_PAUSE = 0.05
found = [Child("web", [sys.executable, "-c", {web!r}]), Child("work", [sys.executable, "-c", {work!r}])]
sys.exit(Supervisor(found, lambda text: print(text, flush=True)).run())
"""
SLEEP = "import time; time.sleep(60)"


def start(tmp_path: Path, web: str, work: str, quick: float = 10.0) -> subprocess.Popen[str]:
    """A supervisor of two small programs."""
    script = tmp_path / "run.py"
    script.write_text(textwrap.dedent(RUN).format(web=web, work=work, quick=quick))
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    )


def wait_for(path: Path, lines: int) -> list[str]:
    """Wait until a program has written so many process numbers."""
    until = time.monotonic() + 20
    while time.monotonic() < until:
        found = path.read_text().split() if path.exists() else []
        if len(found) >= lines:
            return found
        time.sleep(0.05)
    raise AssertionError(f"only {found} after 20 s")


def gone(pid: int) -> bool:
    """Whether a process has ended (a zombie of a finished parent counts)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().split()[2] == "Z"
    except FileNotFoundError:
        return True


def leaves_pid(path: Path) -> str:
    """A program that writes its number and sleeps."""
    return f"import os,time; open({str(path)!r},'a').write(f'{{os.getpid()}} '); time.sleep(60)"


def test_a_killed_child_is_started_again_and_stop_ends_all(tmp_path: Path) -> None:
    """kill -9 of a worker, then Ctrl-C: exit 0 and nothing left."""
    pids = tmp_path / "pids"
    running = start(tmp_path, SLEEP, leaves_pid(pids), quick=0.0)
    first = int(wait_for(pids, 1)[0])
    os.kill(first, signal.SIGKILL)
    second = int(wait_for(pids, 2)[1])
    running.send_signal(signal.SIGINT)
    output, _ = running.communicate(timeout=30)
    assert running.returncode == 0, output
    assert "work ended (exit -9)" in output
    assert gone(first)
    assert gone(second)


def test_a_child_that_keeps_failing_ends_the_whole(tmp_path: Path) -> None:
    """Five quick failures: exit 1, and the healthy one does not stay behind."""
    pids = tmp_path / "pids"
    running = start(tmp_path, leaves_pid(pids), "import sys; sys.exit(3)")
    output, _ = running.communicate(timeout=60)
    assert running.returncode == 1
    assert f"failed {MAX_QUICK} times in a row (last exit 3)" in output
    assert all(gone(int(pid)) for pid in pids.read_text().split())


def test_what_a_dead_child_left_is_ended_before_its_successor(tmp_path: Path) -> None:
    """A killed worker's own children would else run beside the new ones."""
    pids = tmp_path / "pids"
    inner = leaves_pid(pids)
    parent = (
        f"import subprocess,sys,time; subprocess.Popen([sys.executable,'-c',{inner!r}]); time.sleep(1.0); sys.exit(1)"
    )
    running = start(tmp_path, SLEEP, parent, quick=0.0)
    orphan = int(wait_for(pids, 1)[0])
    wait_for(pids, 2)
    assert gone(orphan)
    running.send_signal(signal.SIGTERM)
    running.communicate(timeout=30)
    assert running.returncode == 0


def test_one_supervisor_a_data_folder(tmp_path: Path) -> None:
    """A second start would run every job twice."""
    held = hold_folder(tmp_path)
    with pytest.raises(AlreadyRunning):
        hold_folder(tmp_path)
    held.close()
    hold_folder(tmp_path).close()


def test_a_port_in_use_is_said_before_anything_starts() -> None:
    """With the option that helps."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(CommandError, match="--port"):
            check_port("127.0.0.1", taken.getsockname()[1])


def test_a_child_is_described_by_its_command() -> None:
    """Nothing runs until it is started."""
    assert Child("web", ["true"]).process is None
