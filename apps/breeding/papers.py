"""Papers of breeding: the sheet of a scan round, to write on by hand or to file, and the card of a tub's animal."""

from __future__ import annotations

from django.conf import settings

from apps.accounts.models import Person
from apps.animals.selectors.labels import Wanted
from apps.breeding.models import ScanRound
from apps.breeding.pages.round_moved import moved_lines, summary_rows
from apps.breeding.pages.tub_card import tub_card
from apps.breeding.selectors.round_progress import round_progress
from apps.breeding.selectors.tub_card import card_facts
from apps.core import clock
from apps.core.errors import Invalid
from apps.core.formats import count_text, day_text
from apps.documents.models import Document
from apps.documents.papers import label_address, selection_ref
from apps.documents.services import paper_make, qr_svg

QR_MM = 22
MOST_CARDS = 100


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


def tub_cards_make(*, by: Person, wanted: Wanted) -> Document:
    """The card of each animal, one a page or more: last 8 meals, masses, scans, visits, holds as they stand now.

    Raises Invalid naming ``animals`` for none, or more than 100 at once.
    """
    animals = list(wanted.animals)
    if not animals:
        raise Invalid(wanted.nothing.replace("drawer card", "tub card"), field="animals")
    if len(animals) > MOST_CARDS:
        raise Invalid(
            f"{len(animals):,} cards are too many: at most {MOST_CARDS} at once. Print rack by rack.", field="animals"
        )
    cards = [
        tub_card(facts, qr_svg(label_address("a", facts.animal.ref), size_mm=QR_MM)) for facts in card_facts(animals)
    ]
    one = animals[0] if len(animals) == 1 else None
    label = f"Tub card of {one.code}" if one else f"{count_text(len(animals), 'tub card')} of {wanted.of}"
    kind, ref = ("animal", one.ref) if one else wanted.subject
    return paper_make(
        by=by,
        kind="tub card",
        subject_kind=kind,
        subject_ref=ref or selection_ref([animal.ref for animal in animals]),
        label=label[:120],
        template="breeding/papers/tub_card.html",
        context={"title": label, "cards": cards},
        filename=f"tub-card-{one.ref}.pdf" if one else "tub-cards.pdf",
    )
