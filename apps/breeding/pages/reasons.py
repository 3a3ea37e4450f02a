"""A reason and the rows it rests on, each opened where it stands: readings and visits on her page, the rest below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from apps.animals.models import Animal
from apps.breeding.models import Season

# What a row is called in a link, alone and together.
WORDS = {
    "scan": ("reading", "readings"),
    "visit": ("visit", "visits"),
    "weight": ("weight", "weights"),
    "meal": ("meal", "meals"),
    "condition": ("body shape", "body shapes"),
    "hold": ("hold", "holds"),
    "cycle": ("steps of her season", "steps of her seasons"),
    "brood": ("clutch", "clutches"),
    "note": ("note", "notes"),
    "animal": ("hatch date", "hatch date"),
}
# Entries of daily care, by the name of the row they stand under there.
CARE_ROWS = {"weight": "weight", "meal": "mealoffer", "condition": "condition", "note": "healthnote"}


@dataclass(frozen=True)
class RowLink:
    """A row that a reason rests on, and where it opens."""

    words: str
    url: str


@dataclass(frozen=True)
class ReasonLine:
    """One sentence with the rows it rests on; printed it is the sentence alone."""

    sentence: str
    rows: tuple[RowLink, ...] = ()

    def __str__(self) -> str:
        return self.sentence


def reason_lines(advice: Mapping[str, Any], female: Animal, season: Season | None) -> list[ReasonLine]:
    """The reasons of one act as a stored forecast holds it; those made before rows were named have none."""
    sentences = list(advice.get("because", []))
    refs = list(advice.get("rests_on") or [[]] * len(sentences))
    return [
        ReasonLine(sentence, row_links(rows, female, season)) for sentence, rows in zip(sentences, refs, strict=True)
    ]


def row_links(refs: Sequence[str], female: Animal, season: Season | None) -> tuple[RowLink, ...]:
    """One link for each kind of row: to the row itself, or to where several stand together."""
    kinds: dict[str, list[str]] = {}
    for ref in refs:
        kind, _, pk = ref.partition(":")
        if kind in WORDS and pk.isdigit():
            kinds.setdefault(kind, []).append(pk)
    return tuple(
        RowLink(WORDS[kind][0] if len(pks) == 1 else f"{len(pks)} {WORDS[kind][1]}", _url(kind, pks, female, season))
        for kind, pks in kinds.items()
    )


def _url(kind: str, pks: Sequence[str], female: Animal, season: Season | None) -> str:
    here = reverse("breeding:female", args=[female.ref]) + (f"?year={season.year}" if season is not None else "")
    if kind == "scan":
        return f"{here}#{f'scan-{pks[0]}' if len(pks) == 1 else 'readings'}"
    if kind == "visit":
        return f"{here}#{f'visit-{pks[0]}' if len(pks) == 1 else 'visit'}"
    if kind == "cycle":
        return f"{here}#scan"  # where steps are recorded and taken back
    if kind in CARE_ROWS:
        keys = "&".join(f"entry={CARE_ROWS[kind]}-{pk}" for pk in pks)
        return f"{reverse('care:animal', args=[female.ref])}?{keys}#{CARE_ROWS[kind]}-{pks[0]}"
    if kind == "hold":
        return reverse("animals:holds", args=[female.ref])
    return reverse("animals:lineage" if kind == "brood" else "animals:edit", args=[female.ref])
