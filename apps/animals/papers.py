"""Drawer cards: one label of 62 x 29 mm per animal, travelling with it; its QR code is the animal's address."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.core.errors import Invalid
from apps.core.formats import day_text
from apps.documents.models import Document
from apps.documents.services import paper_make, qr_svg
from apps.places.papers import QR_MM, label_address

MOST_LABELS = 500
# Characters that fit the label's width at the type sizes of the template; measured on the printed page.
CODE_FITS, CODE_FITS_SMALL, TRAITS_FIT = 8, 13, 34


def animal_labels_make(*, by: Person, animals: Sequence[Animal]) -> Document:
    """The drawer cards of these animals, one a page. Raises Invalid for none or too many."""
    if not animals:
        raise Invalid("Tick the animals to label.", field="animals")
    if len(animals) > MOST_LABELS:
        raise Invalid(f"At most {MOST_LABELS} labels at once. Print rack by rack.", field="animals")
    rows = [
        {
            "animal": animal,
            "qr": qr_svg(label_address("a", animal.ref), size_mm=QR_MM),
            "traits": animal.traits or "Normal",
            "hatched": day_text(animal.hatched_on, year=True) if animal.hatched_on else "",
            "code_class": _code_class(animal.code),
            "traits_long": len(animal.traits) > TRAITS_FIT,
        }
        for animal in animals
    ]
    one = animals[0] if len(animals) == 1 else None
    refs = hashlib.sha256(",".join(animal.ref for animal in animals).encode()).hexdigest()
    label = f"Label of {one.code}" if one else f"Labels of {len(animals)} animals"
    return paper_make(
        by=by,
        kind="animal labels",
        subject_kind="animal" if one else "animals",
        # many animals have no ref of their own; the same selection must find the same paper
        subject_ref=one.ref if one else refs[:20],
        label=label,
        template="animals/papers/animal_labels.html",
        context={"rows": rows, "title": label},
        filename=f"label-{one.ref}.pdf" if one else "animal-labels.pdf",
    )


def _code_class(code: str) -> str:
    if len(code) <= CODE_FITS:
        return ""
    return "long" if len(code) <= CODE_FITS_SMALL else "longer"
