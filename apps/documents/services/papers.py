"""Rendering papers to PDF: our own templates, our own fonts, nothing fetched from outside the project."""

from __future__ import annotations

import importlib.resources
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import segno
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

from apps.accounts.models import Person
from apps.accounts.selectors import facility
from apps.core import clock
from apps.documents.models import Document
from apps.documents.services.keep import document_store

STATIC_TYPES = {".css": "text/css", ".svg": "image/svg+xml", ".png": "image/png"}
FONT_FILES = {
    "regular": "AtkinsonHyperlegible-Regular.ttf",
    "bold": "AtkinsonHyperlegible-Bold.ttf",
    "italic": "AtkinsonHyperlegible-Italic.ttf",
    "bold_italic": "AtkinsonHyperlegible-BoldItalic.ttf",
}


def pdf_render(template: str, context: Mapping[str, Any]) -> bytes:
    """Render a paper template (extends core/paper_base.html) to PDF/UA bytes.

    The context gains ``facility``, ``made_at`` and ``paper_size``. The page may only name ``static:`` and ``font:``
    addresses; anything else is refused, so a paper can never reach out of the project.
    """
    # imported here: without Pango the web pages must still run
    import weasyprint

    here = facility()
    html = render_to_string(
        template,
        {"facility": here, "made_at": clock.local(clock.now()), "paper_size": here.paper, **context},
    )
    document = weasyprint.HTML(string=html, base_url="static:", url_fetcher=_fetcher())
    return bytes(document.write_pdf(pdf_variant="pdf/ua-1"))


def paper_make(
    *,
    by: Person,
    kind: str,
    subject_kind: str,
    subject_ref: str,
    label: str,
    template: str,
    context: Mapping[str, Any],
    filename: str,
    request_key: str | None = None,
) -> Document:
    """Render a paper and keep it. Rendering happens before the transaction: it is slow, locks must be short."""
    content = pdf_render(template, context)
    return document_store(
        by=by,
        kind=kind,
        subject_kind=subject_kind,
        subject_ref=subject_ref,
        label=label,
        content=content,
        mime="application/pdf",
        filename=filename,
        request_key=request_key,
    )


def qr_svg(text: str, *, size_mm: float) -> str:
    """A QR code (never a Micro QR, which many readers miss) as SVG of ``size_mm``, with 4 modules of quiet zone."""
    code = segno.make_qr(text, error="m")
    modules = code.symbol_size(scale=1, border=4)[0]
    out = io.BytesIO()
    code.save(out, kind="svg", border=4, scale=1, xmldecl=False, svgns=True, omitsize=True, dark="#000000")
    svg = out.getvalue().decode()
    return (
        svg.replace("<svg ", f'<svg width="{size_mm}mm" height="{size_mm}mm" viewBox="0 0 {modules} {modules}" ', 1)
        if "viewBox" not in svg
        else svg.replace("<svg ", f'<svg width="{size_mm}mm" height="{size_mm}mm" ', 1)
    )


def project_file(url: str) -> tuple[bytes, str]:
    """The bytes and type of a ``static:path`` or ``font:name`` address. Raises ValueError for anything else."""
    scheme, _, rest = url.partition(":")
    rest = rest.lstrip("/")
    if scheme == "font" and rest in FONT_FILES:
        font = importlib.resources.files("fontpkg_atkinson_hyperlegible") / "files" / FONT_FILES[rest]
        return font.read_bytes(), "font/ttf"
    if scheme == "static":
        found = finders.find(rest)
        mime = STATIC_TYPES.get(Path(rest).suffix)
        if mime and isinstance(found, str):
            return Path(found).read_bytes(), mime
    raise ValueError(f"a paper may not fetch {url!r}")


def _fetcher() -> Any:
    """A fetcher that knows the project only: made here, because without Pango weasyprint cannot be imported."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class ProjectOnly(URLFetcher):  # type: ignore[misc]
        def fetch(self, url: str, headers: object = None) -> Any:
            try:
                body, mime = project_file(url)
            except ValueError as error:
                # fatal: a paper with a hole in it must not be printed
                raise FatalURLFetchingError(str(error)) from error
            return URLFetcherResponse(url, body, {"Content-Type": mime})

    return ProjectOnly(allowed_protocols={"static", "font"}, allow_redirects=False, fail_on_errors=True)
