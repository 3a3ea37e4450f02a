"""Labels of places: one per tub of a rack, 62 x 29 mm, with a QR code that is the tub's plain address."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings

from apps.accounts.models import Person
from apps.core.errors import Invalid
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg
from apps.places.models import Rack, Tub
from apps.places.selectors import tubs_of

QR_MM = 22


def label_address(kind: str, ref: str) -> str:
    """The plain address in a QR code: any phone's camera opens it."""
    return f"{settings.SITE_URL.rstrip('/')}/{kind}/{ref}/"


def rack_labels_make(*, by: Person, rack: Rack) -> Document:
    """The labels of every tub of a rack, one a page."""
    return _labels(by, list(tubs_of(rack)), "rack", rack.ref, f"Tub labels of {rack.name}")


def tub_label_make(*, by: Person, tub: Tub) -> Document:
    """The label of one tub."""
    return _labels(by, [tub], "tub", tub.ref, f"Label of tub {tub.label}")


def _labels(by: Person, tubs: Sequence[Tub], kind: str, ref: str, label: str) -> Document:
    if not tubs:
        raise Invalid("There is no tub to label.", field="rack")
    rows = [{"tub": tub, "qr": qr_svg(label_address("p", tub.ref), size_mm=QR_MM)} for tub in tubs]
    return paper_make(
        by=by,
        kind="tub labels",
        subject_kind=kind,
        subject_ref=ref,
        label=label,
        template="places/papers/tub_labels.html",
        context={"rows": rows, "title": label},
        filename=f"labels-{tubs[0].label if len(tubs) == 1 else tubs[0].rack.name}.pdf".replace(" ", "-").lower(),
    )
