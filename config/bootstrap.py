"""Stdlib only: builds .venv from the lock when it is missing or stale, then runs the same command inside it.

manage.py calls ``enter_environment()`` before anything third-party is imported, so a fresh clone needs no other step.
"""

from __future__ import annotations

import ctypes.util
import hashlib
import importlib.util
import os
import platform
import shutil
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
HOME = ROOT / ".venv"
LOCKS = (ROOT / "config/requirements/app.txt", ROOT / "config/requirements/dev.txt")
STAMP = HOME / ".lock"
MINIMUM = (3, 11)
# What Debian and Ubuntu call the system libraries, with what they are for.
SYSTEM = {
    "python3-venv": "the environment",
    "libpango-1.0-0": "papers as PDF",
    "libpangoft2-1.0-0": "papers as PDF",
}


def enter_environment() -> None:
    """Return when already inside the environment; else build it if needed and start over inside it."""
    if os.environ.get("BROODWRIGHT_NO_BOOTSTRAP") == "1":
        return
    if Path(sys.prefix).resolve() == HOME.resolve():
        if _stamp() == _wanted():
            return
        _say("The lock has changed: the environment is built again.")
        _leave_and_rebuild()
    elif sys.prefix != sys.base_prefix:
        return  # somebody's own environment: theirs to keep
    if sys.version_info < MINIMUM:
        _stop(f"Broodwright needs Python {'.'.join(map(str, MINIMUM))} or newer; this is {platform.python_version()}.")
    if not (HOME / "bin/python").exists() or _stamp() != _wanted():
        _check_system()
        _build()
    os.execv(str(HOME / "bin/python"), [str(HOME / "bin/python"), *sys.argv])


def _leave_and_rebuild() -> None:
    """From inside a stale environment: run the base interpreter again, which rebuilds."""
    STAMP.unlink(missing_ok=True)
    base = Path(sys.base_prefix) / "bin" / f"python{sys.version_info.major}.{sys.version_info.minor}"
    os.execv(str(base), [str(base), *sys.argv])


def _wanted() -> str:
    digest = hashlib.sha256()
    for lock in LOCKS:
        digest.update(lock.read_bytes())
    digest.update(f"{sys.version_info[:2]}".encode())
    return digest.hexdigest()


def _stamp() -> str:
    return STAMP.read_text().strip() if STAMP.exists() else ""


def _missing() -> list[str]:
    missing = []
    if importlib.util.find_spec("ensurepip") is None:
        missing.append("python3-venv")
    for package, library in (("libpango-1.0-0", "pango-1.0"), ("libpangoft2-1.0-0", "pangoft2-1.0")):
        if ctypes.util.find_library(library) is None:
            missing.append(package)
    return missing


def _check_system() -> None:
    """Before anything is half-built: install what is missing (as root on Debian) or stop with the one line to run."""
    missing = _missing()
    if not missing:
        return
    if platform.system() == "Darwin":
        _stop("Pango is missing. Run this, then try again:\n\n    brew install pango\n")
    for package in missing:
        _say(f"{package} is missing ({SYSTEM[package]}).")
    if os.geteuid() == 0 and shutil.which("apt-get"):
        _say("Installing it with apt-get.")
        quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "update", "-qq"], check=False, env=quiet)
        done = subprocess.run(["apt-get", "install", "-y", "-qq", *missing], check=False, env=quiet)
        if done.returncode == 0 and not _still_missing(missing):
            return
    _stop(f"Run this, then try again:\n\n    sudo apt-get install -y {' '.join(missing)}\n")


def _still_missing(packages: list[str]) -> bool:
    importlib.invalidate_caches()
    # find_library asks ldconfig, so a library just installed is seen; ensurepip needs a look at the file
    return any(package in packages for package in _missing())


def _build() -> None:
    if HOME.is_symlink():
        _stop(f"{HOME} leads to another place, which would be cleared. Remove the link, then try again.")
    _say("Building the environment from the lock (about a minute, once).")
    venv.EnvBuilder(with_pip=True, clear=True, symlinks=True).create(HOME)
    clean = {
        name: value
        for name, value in os.environ.items()
        if name not in {"PYTHONPATH", "PYTHONHOME", "PIP_USER", "PIP_TARGET", "PIP_PREFIX", "__PYVENV_LAUNCHER__"}
    }
    command = [str(HOME / "bin/python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    # the locks hold every package, so nothing is resolved: pip trips over `package[extra]` once a newer release exists
    command += ["--only-binary", ":all:", "--require-hashes", "--no-deps"]
    # compiling everything at once takes as long as fetching it; Python compiles what is used when it is first used
    command += ["--no-compile"]
    for lock in LOCKS:
        command += ["-r", str(lock)]
    if subprocess.run(command, env=clean, check=False).returncode != 0:
        shutil.rmtree(HOME, ignore_errors=True)
        _stop(
            "The environment could not be built (see above). Check the connection to the package index and try again."
        )
    STAMP.write_text(_wanted())
    _say("The environment is ready.")


def _say(text: str) -> None:
    print(f"broodwright: {text}", file=sys.stderr, flush=True)


def _stop(text: str) -> None:
    _say(text)
    raise SystemExit(1)
