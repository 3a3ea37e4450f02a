"""Labels of boxes."""

from __future__ import annotations

from django.conf import settings

from apps.accounts.models import Person
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg
from apps.incubation.models import Box
from apps.incubation.selectors.eggs import forecasts_current


def box_label_make(*, by: Person, box: Box) -> Document:
    """The label of a box: brood, dam, laid, eggs, hatch window, QR to its brood."""
    forecast = forecasts_current([box.brood]).get(box.brood_id)
    return paper_make(
        by=by,
        kind="box label",
        subject_kind="box",
        subject_ref=box.ref,
        label=f"label of box {box.code}",
        template="incubation/papers/box_label.html",
        context={
            "box": box,
            "eggs": box.eggs.count(),
            "forecast": forecast,
            "qr": qr_svg(f"{settings.SITE_URL}/incubation/broods/{box.brood.ref}/", size_mm=24),
        },
        filename=f"box-{box.code}.pdf",
    )
