"""The house's own certificate, and the command that serves phones with it."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from config.certificate import NoCertificate, facility_certificate
from config.trust import answers
from tests.tables import tables

ROOT = Path(__file__).parents[2]


def free_port() -> int:
    """A port that nobody uses at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def openssl(*words: str) -> str:
    """What openssl says."""
    return subprocess.run(["openssl", *words], check=True, capture_output=True, text=True).stdout


def test_the_certificate_is_for_the_house_alone(tmp_path: Path) -> None:
    """The server's is signed by the authority; the authority may sign private addresses and local names only."""
    made = facility_certificate(tmp_path, "192.168.7.20")
    said = openssl("verify", "-CAfile", str(made.authority), str(made.server))
    assert said.strip().endswith("OK")
    words = openssl("x509", "-in", str(made.authority), "-noout", "-text")
    assert "Permitted" in words
    assert "IP:192.168.0.0/255.255.0.0" in words
    assert "pathlen:0" in words
    assert "IP Address:192.168.7.20" in openssl("x509", "-in", str(made.server), "-noout", "-text")
    for key in (made.key, tmp_path / "authority.key"):
        assert key.stat().st_mode & 0o077 == 0, "others could read the key"


def test_it_is_made_once_and_again_for_another_address(tmp_path: Path) -> None:
    first = facility_certificate(tmp_path, "192.168.7.20")
    text = first.server.read_text()
    assert facility_certificate(tmp_path, "192.168.7.20").server.read_text() == text
    second = facility_certificate(tmp_path, "192.168.7.21")
    assert second.server.read_text() != text
    assert second.fingerprint == first.fingerprint, "a phone need not trust it again"


def test_a_public_address_gets_none(tmp_path: Path) -> None:
    with pytest.raises(NoCertificate, match="no private address"):
        facility_certificate(tmp_path, "198.51.100.7")


def test_the_page_about_trust_holds_the_certificate_and_its_fingerprint(tmp_path: Path) -> None:
    made = facility_certificate(tmp_path, "192.168.7.20")
    found = answers(tmp_path, "https://192.168.7.20:8443/", made.fingerprint)
    assert made.fingerprint in found["/"][1].decode()
    assert set(found) == {"/", "/facility.crt"}
    assert ssl.DER_cert_to_PEM_cert(found["/facility.crt"][1]).split() == made.authority.read_text().split()


def test_it_starts_and_serves_https(tmp_path: Path) -> None:
    """A browser that trusts the authority gets the sign-in page; one that does not gets nothing."""
    port, trust_port = free_port(), free_port()
    env = {
        **{name: value for name, value in os.environ.items() if name not in {"DATABASE_URL", "REDIS_URL"}},
        "BROODWRIGHT_DATA": str(tmp_path),
        "BROODWRIGHT_NO_BOOTSTRAP": "1",
        "DJANGO_SETTINGS_MODULE": "config.settings",
    }
    with tables(tmp_path / "broodwright.sqlite3"):  # the first start's migrating is tried by the other commands' tests
        subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity", "0"], cwd=ROOT, env=env, check=True)
    command = [sys.executable, "manage.py", "serve", "--lan", "--address", "127.0.0.1"]
    with subprocess.Popen(
        [*command, "--port", str(port), "--trust-port", str(trust_port)],
        cwd=ROOT,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        start_new_session=True,
    ) as process:
        try:
            words = sign_in_page(port, tmp_path / "certificate" / "authority.crt", process)
            assert "Sign in" in words
            with pytest.raises(OSError, match="CERTIFICATE_VERIFY_FAILED"):
                urllib.request.urlopen(f"https://127.0.0.1:{port}/sign-in/", timeout=20)
            with urllib.request.urlopen(f"http://127.0.0.1:{trust_port}/", timeout=20) as answer:
                assert b"Trust this facility" in answer.read()
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(60)
    assert process.returncode == 0


def sign_in_page(port: int, authority: Path, process: subprocess.Popen[bytes]) -> str:
    """The page, asked for until the server is up."""
    until = time.monotonic() + 240
    while time.monotonic() < until:
        assert process.poll() is None, process.stdout and process.stdout.read().decode()
        try:
            context = ssl.create_default_context(cafile=str(authority))
            with urllib.request.urlopen(f"https://127.0.0.1:{port}/sign-in/", timeout=20, context=context) as answer:
                assert answer.headers["Strict-Transport-Security"]
                return str(answer.read().decode())
        except (OSError, FileNotFoundError):
            time.sleep(1)
    raise AssertionError("it did not start")
