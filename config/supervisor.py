"""Embedded mode's own small supervisor: web, two workers and the scheduler under one command.

Each child leads its own process group, so Ctrl-C reaches only the supervisor, which ends them in order. A child that
dies is started again with a growing pause; five quick failures end the whole, because something is really wrong.
"""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import IO

GRACE_SECONDS = 15.0
QUICK_SECONDS = 10.0
MAX_QUICK = 5
MAX_PAUSE = 30.0


@dataclass
class Child:
    """One supervised process."""

    name: str
    command: list[str]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    quick_failures: int = 0
    start_at: float = 0.0
    env: Mapping[str, str] = field(default_factory=dict)


class AlreadyRunning(RuntimeError):
    """Another supervisor holds the data folder."""


def children(address: str, *, threads: int = 8) -> list[Child]:
    """Web, the two workers, and the scheduler (a child of its own: an embedded one would outlive a killed worker)."""
    python = sys.executable
    celery = [python, "-m", "celery", "--quiet", "-A", "config"]
    flags = ["--without-gossip", "--without-mingle", "--without-heartbeat", "--loglevel", "WARNING"]

    def worker(queue: str) -> list[str]:
        return [*celery, "worker", "-Q", queue, "-n", f"{queue}@%h", "--pool", "threads", "-c", "2", *flags]

    web = [python, "-m", "gunicorn", "config.wsgi", "--bind", address, "--workers", "1", "--threads", str(threads)]
    return [
        Child("web", [*web, "--no-control-socket", "--log-level", "warning", "--timeout", "120"]),
        Child("watch", worker("watch")),
        Child("work", worker("work")),
        Child("scheduler", [*celery, "beat", "--loglevel", "WARNING", "--pidfile="]),
    ]


def hold_folder(folder: Path) -> IO[str]:
    """Lock the data folder for this supervisor's life. Raises AlreadyRunning."""
    folder.mkdir(parents=True, exist_ok=True)
    handle = (folder / "running.lock").open("w")
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        handle.close()
        raise AlreadyRunning(
            "Broodwright is already running on this data folder. Stop it with Ctrl-C there, "
            "or set BROODWRIGHT_DATA to another folder."
        ) from None
    os.set_inheritable(handle.fileno(), False)
    return handle


class Supervisor:
    """Starts the children, keeps them running, ends them together."""

    def __init__(self, found: list[Child], say: Callable[[str], None]) -> None:
        self.children = found
        self.say = say
        self.stopping = False

    def run(self) -> int:
        """Block until a signal or until a child keeps failing; the exit code."""
        for name in (signal.SIGINT, signal.SIGTERM):
            signal.signal(name, self._stop)
        for child in self.children:
            self._start(child)
        code = 0
        while not self.stopping:
            time.sleep(0.3)
            kept = [self._look_after(child) for child in self.children]  # all of them, also after one failed
            if not all(kept):
                code = 1
                break
        self._end_all()
        return code

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.stopping = True

    def _start(self, child: Child) -> None:
        child.process = subprocess.Popen(
            child.command, start_new_session=True, stdin=subprocess.DEVNULL, env={**os.environ, **child.env}
        )
        child.started = time.monotonic()

    def _look_after(self, child: Child) -> bool:
        """Restart a dead child when its pause is over; False when it keeps failing."""
        moment = time.monotonic()
        if child.process is None:
            if moment >= child.start_at:
                self._start(child)
            return True
        code = child.process.poll()
        if code is None:
            return True
        self._kill_group(child)
        quick = moment - child.started < QUICK_SECONDS
        child.quick_failures = child.quick_failures + 1 if quick else 0
        if child.quick_failures >= MAX_QUICK:
            self.say(f"{child.name} failed {MAX_QUICK} times in a row (last exit {code}); stopping everything.")
            return False
        pause = min(2.0**child.quick_failures, MAX_PAUSE)
        self.say(f"{child.name} ended (exit {code}); starting it again in {pause:.0f} s.")
        child.process = None
        child.start_at = moment + pause
        return True

    def _end_all(self) -> None:
        for child in self.children:
            if child.process is not None and child.process.poll() is None:
                child.process.terminate()
                if child.name == "web":
                    self._wait(child, GRACE_SECONDS)
        until = time.monotonic() + GRACE_SECONDS
        for child in self.children:
            self._wait(child, max(0.0, until - time.monotonic()))
            self._kill_group(child)

    @staticmethod
    def _wait(child: Child, seconds: float) -> None:
        if child.process is None:
            return
        try:
            child.process.wait(seconds)
        except subprocess.TimeoutExpired:
            child.process.terminate()

    @staticmethod
    def _kill_group(child: Child) -> None:
        """Whatever a dead child left behind must not run beside its successor."""
        if child.process is None:
            return
        try:
            os.killpg(child.process.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):
            return
