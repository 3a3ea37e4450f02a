"""The facility's own certificate for phones in the house: made by the machine's openssl, good for this house alone.

A phone that trusts the facility's authority trusts it for private addresses and this machine's name only (name
constraints), so a stolen key opens nothing else. Keys are readable by the owner of the data folder alone.
"""

from __future__ import annotations

import ipaddress
import os
import shutil
import socket
import subprocess
from dataclasses import dataclass
from pathlib import Path

AUTHORITY_DAYS = 3650
# phones refuse a server's certificate that is good for longer than 825 days; a year and a month is asked of public ones
SERVER_DAYS = 397
RENEW_SECONDS = 30 * 86_400
PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8")


class NoCertificate(RuntimeError):
    """It could not be made; the message says what to do."""


@dataclass(frozen=True)
class Certificate:
    """Files of the authority that phones trust and of this server; ``fingerprint`` is the authority's SHA-256."""

    authority: Path
    server: Path
    key: Path
    fingerprint: str


def house_address() -> str:
    """This machine's address in the house's network. Raises NoCertificate when it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address: nothing is sent, the route alone is looked up
        except OSError:
            raise NoCertificate("This machine is in no network. Connect it, or give its --address.") from None
        return str(probe.getsockname()[0])


def house_names(address: str) -> list[str]:
    """What the server is called: its address, its name, its name in the local domain."""
    host = socket.gethostname().split(".")[0].lower()
    return [address, *([f"{host}.local", host] if host and host != "localhost" else []), "localhost"]


def facility_certificate(folder: Path, address: str) -> Certificate:
    """The certificate for this address; made on first call, renewed a month before its end. Raises NoCertificate."""
    if not any(ipaddress.ip_address(address) in ipaddress.ip_network(one) for one in PRIVATE):
        raise NoCertificate(f"{address} is no private address. A facility's own certificate is for the house alone.")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    authority, authority_key = folder / "authority.crt", folder / "authority.key"
    server, key = folder / "server.crt", folder / "server.key"
    if not (authority.exists() and authority_key.exists()):
        _authority(folder, authority, authority_key)
    names = house_names(address)
    listed = folder / "names.txt"
    known = listed.read_text().split() if listed.exists() else []
    if known != names or not server.exists() or not _lasts(server):
        _server(folder, authority, authority_key, server, key, names)
        listed.write_text("\n".join(names))
    shown = _openssl("x509", "-in", str(authority), "-noout", "-fingerprint", "-sha256").strip()
    return Certificate(authority, server, key, shown.partition("=")[2])


def _authority(folder: Path, certificate: Path, key: Path) -> None:
    host = socket.gethostname().split(".")[0].lower()
    subnets = (ipaddress.ip_network(one) for one in PRIVATE)
    allowed = [f"permitted;IP:{net.network_address}/{net.netmask}" for net in subnets]
    allowed += [f"permitted;DNS:{name}" for name in dict.fromkeys(["local", "localhost", host]) if name]
    extensions = (
        "basicConstraints=critical,CA:TRUE,pathlen:0",
        "keyUsage=critical,keyCertSign,cRLSign",
        f"nameConstraints=critical,{','.join(allowed)}",
    )
    _key(key)
    more = [part for one in extensions for part in ("-addext", one)]
    _openssl(
        *("req", "-x509", "-new", "-key", str(key), "-sha256", "-days", str(AUTHORITY_DAYS)),
        *("-subj", f"/CN=Broodwright facility ({host})", "-out", str(certificate), *more),
    )


def _server(folder: Path, authority: Path, authority_key: Path, server: Path, key: Path, names: list[str]) -> None:
    request, details = folder / "server.csr", folder / "server.ext"
    listed = ",".join(f"{'IP' if _is_address(name) else 'DNS'}:{name}" for name in names)
    details.write_text(
        "basicConstraints=critical,CA:FALSE\nkeyUsage=critical,digitalSignature\nextendedKeyUsage=serverAuth\n"
        f"subjectAltName={listed}\n"
    )
    _key(key)
    _openssl("req", "-new", "-key", str(key), "-subj", f"/CN={names[0]}", "-out", str(request))
    _openssl(
        *("x509", "-req", "-in", str(request), "-CA", str(authority), "-CAkey", str(authority_key)),
        *("-set_serial", str(int.from_bytes(os.urandom(15), "big")), "-sha256", "-days", str(SERVER_DAYS)),
        *("-extfile", str(details), "-out", str(server)),
    )
    request.unlink()
    details.unlink()


def _key(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.touch(mode=0o600)
    path.write_text(_openssl("genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256"))


def _lasts(certificate: Path) -> bool:
    done = subprocess.run(
        ["openssl", "x509", "-in", str(certificate), "-noout", "-checkend", str(RENEW_SECONDS)],
        check=False,
        capture_output=True,
    )
    return done.returncode == 0


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _openssl(*words: str) -> str:
    if shutil.which("openssl") is None:
        raise NoCertificate(
            "The certificate is made by the program openssl, which is not here. Install it and try again."
        )
    done = subprocess.run(["openssl", *words], check=False, capture_output=True, text=True, stdin=subprocess.DEVNULL)
    if done.returncode:
        raise NoCertificate(f"openssl could not make the certificate: {done.stderr.strip().splitlines()[-1:]}")
    return done.stdout
