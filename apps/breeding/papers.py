"""The printed sheet of a scan round: a line per female in walking order, to write on by hand or to file."""

from __future__ import annotations

from django.conf import settings

from apps.accounts.models import Person
from apps.breeding.models import ScanRound
from apps.breeding.pages.round_moved import moved_lines, summary_rows
from apps.breeding.selectors.round_progress import round_progress
from apps.core import clock
from apps.core.formats import day_text
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg

QR_MM = 22


def round_sheet_make(*, by: Person, scan_round: ScanRound) -> Document:
    """Render the sheet as it stands and keep it; the same content gives the paper that is there."""
    progress = round_progress(scan_round)
    rows = summary_rows(progress)
    context = {
        "round": scan_round,
        "qr": qr_svg(f"{settings.SITE_URL.rstrip('/')}/scan/{scan_round.ref}/", size_mm=QR_MM),
        "rooms": ", ".join(room.name for room in scan_round.rooms.all()) or "chosen females",
        "opened": day_text(clock.local(scan_round.opened_at), year=True),
        "rows": rows,
        "moved": moved_lines(progress, {}),
        "read": sum(line.scan is not None for line in progress.lines),
        "total": len(rows),
    }
    return paper_make(
        by=by,
        kind="scan round sheet",
        subject_kind="scanround",
        subject_ref=scan_round.ref,
        label=f"Scan round {scan_round.number}",
        template="breeding/papers/round_sheet.html",
        context=context,
        filename=f"scan-round-{scan_round.number}.pdf",
    )
