"""Labels of tubs and drawer cards of animals, printed on any stock; a drawer card travels with its animal."""

from __future__ import annotations

from collections.abc import Iterable

from apps.accounts.models import Person
from apps.animals.models import Animal
from apps.animals.selectors.labels import LabelKind, Wanted
from apps.core.errors import Invalid
from apps.core.formats import count_text, day_text
from apps.documents.models import Document
from apps.documents.papers import MOST_LABELS, Face, label_address, labels_make, selection_ref
from apps.documents.selectors.labels import LabelOrder
from apps.places.papers import tub_faces


def animal_faces(animals: Iterable[Animal]) -> list[Face]:
    """What the drawer card of each animal says."""
    return [
        Face(
            address=label_address("a", animal.ref),
            code=animal.code,
            line=animal.traits or "Normal",
            small=animal.name,
            foot_left=animal.sex,
            foot_right=day_text(animal.hatched_on, year=True) if animal.hatched_on else "",
            caption=f"tub {animal.tub.label}" if animal.tub else "",
        )
        for animal in animals
    ]


def wanted_labels_make(*, by: Person, wanted: Wanted, order: LabelOrder) -> Document:
    """The labels that were asked for. Raises Invalid naming ``labels`` when there is none, or too many at once."""
    if not wanted.count:
        raise Invalid(wanted.nothing, field="labels")
    if wanted.count > MOST_LABELS:
        raise Invalid(
            f"{wanted.count:,} labels are too many: at most {MOST_LABELS} at once. Print rack by rack.", field="labels"
        )
    if wanted.kind == LabelKind.TUBS:
        faces, refs = tub_faces(wanted.tubs), [tub.ref for tub in wanted.tubs]
        one, many, kind = "Label of tub", "tub label", "tub labels"
    else:
        faces, refs = animal_faces(wanted.animals), [animal.ref for animal in wanted.animals]
        one, many, kind = "Drawer card of", "drawer card", "animal labels"
    single = len(faces) == 1
    subject_kind, subject_ref = wanted.subject
    if single and subject_kind in {"animals", "tubs"}:
        subject_kind, subject_ref = subject_kind.removesuffix("s"), refs[0]
    label = f"{one} {faces[0].code}" if single else f"{count_text(len(faces), many)} of {wanted.of}"
    return labels_make(
        by=by,
        faces=faces,
        order=order,
        kind=kind,
        subject_kind=subject_kind,
        # things that were ticked have no ref of their own; the same selection must find the same paper
        subject_ref=subject_ref or selection_ref(refs),
        label=label[:120],
        filename=f"{many.replace(' ', '-')}-{subject_ref}.pdf" if subject_ref else f"{many.replace(' ', '-')}s.pdf",
    )
