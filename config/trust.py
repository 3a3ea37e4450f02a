"""The one plain page of the house's network: how a phone comes to trust the facility, and the certificate it needs.

Run as ``python -m config.trust FOLDER ADDRESS PORT HTTPS_PORT``. It serves two files and nothing of the records.
"""

from __future__ import annotations

import ssl
import sys
from html import escape
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>Trust this facility</title></head><body>
<h1>Trust this facility</h1>
<p>The camera and work without a connection need a secure address. This phone has to trust the facility's own
certificate once. It is good for addresses of this house's network alone.</p>
<p><a href="/facility.crt">The facility's certificate</a></p>
<h2>On an iPhone or iPad</h2><ol><li>Open the certificate above and allow the download.</li>
<li>Settings, General, VPN and Device Management: install it.</li>
<li>Settings, General, About, Certificate Trust Settings: switch it on.</li></ol>
<h2>On Android</h2><ol><li>Open the certificate above.</li>
<li>Settings, Security, More security settings, Install from storage, CA certificate: choose it.</li></ol>
<h2>On a desk</h2><ol><li>Import it as an authority in the browser's or the system's certificate settings.</li></ol>
<p>Before trusting it, compare this with what the server's window shows:</p><p><code>{fingerprint}</code></p>
<p>Then open <a href="{url}">{url}</a>. To undo it, remove the certificate in the same settings.</p></body></html>"""


def page(fingerprint: str, url: str) -> bytes:
    """The page that explains it."""
    return PAGE.format(fingerprint=escape(fingerprint), url=escape(url)).encode()


def answers(folder: Path, url: str, fingerprint: str) -> dict[str, tuple[str, bytes]]:
    """The two things there are, by address."""
    certificate = ssl.PEM_cert_to_DER_cert((folder / "authority.crt").read_text())
    return {
        "/": ("text/html; charset=utf-8", page(fingerprint, url)),
        "/facility.crt": ("application/x-x509-ca-cert", certificate),
    }


def serve(address: str, port: int, found: dict[str, tuple[str, bytes]]) -> ThreadingHTTPServer:
    """A server of these answers; call its ``serve_forever``."""

    class Handler(BaseHTTPRequestHandler):
        """Two addresses, read only."""

        def do_GET(self) -> None:
            """The page or the certificate."""
            kind, body = found.get(self.path.split("?")[0], ("text/plain", b"There is nothing at this address."))
            self.send_response(200 if self.path.split("?")[0] in found else 404)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.send_header("X-Content-Type-Options", "nosniff")
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: object) -> None:
            """Say nothing: the page is asked for once a phone."""

    return ThreadingHTTPServer((address, port), Handler)


if __name__ == "__main__":
    place, here, plain_port, secure_port, shown = Path(sys.argv[1]), sys.argv[2], sys.argv[3], sys.argv[4], sys.argv[5]
    serve("0.0.0.0", int(plain_port), answers(place, f"https://{here}:{secure_port}/", shown)).serve_forever()
