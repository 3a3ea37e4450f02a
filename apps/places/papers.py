"""Faces of tub labels: one for each position of a rack, with a QR code that is the tub's plain address."""

from __future__ import annotations

from collections.abc import Iterable

from apps.documents.papers import Face, label_address
from apps.places.models import Tub


def tub_faces(tubs: Iterable[Tub]) -> list[Face]:
    """What the label of each tub says. The tubs bring their rack, room and site."""
    return [
        Face(
            address=label_address("p", tub.ref),
            code=tub.label,
            line=tub.rack.name,
            small=f"level {tub.level}, tub {tub.column}",
            foot_left=tub.rack.room.name,
            foot_right=tub.rack.room.site.name,
        )
        for tub in tubs
    ]
