"""Papers of daily care: tonight's thaw list for the freezer door."""

from __future__ import annotations

from django.conf import settings

from apps.accounts.models import Person
from apps.care.pages.feeding_plan import thaw_page
from apps.core.formats import day_text
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg

QR_MM = 22


def thaw_list_make(*, by: Person, request_key: str | None = None) -> Document:
    """Render today's thaw list as it stands and keep it; the same content gives the paper that is there."""
    page = thaw_page()
    return paper_make(
        by=by,
        kind="thaw list",
        subject_kind="day",
        subject_ref=page.on.isoformat(),
        label=f"Thaw list of {day_text(page.on, year=True)}",
        template="care/papers/thaw_list.html",
        context={
            "page": page,
            "day": day_text(page.on, year=True),
            "qr": qr_svg(f"{settings.SITE_URL.rstrip('/')}/care/thaw/", size_mm=QR_MM),
        },
        filename=f"thaw-list-{page.on.isoformat()}.pdf",
        request_key=request_key,
    )
