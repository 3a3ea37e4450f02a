"""The trait catalogue in force: the shipped file with the house's edits laid over it."""

from __future__ import annotations

import logging
from collections.abc import Iterable

from django.db.models import QuerySet

from apps.animals.models import Animal, CatalogueEdit, Species, TraitValue
from apps.animals.selectors.knowledge_traits import empty_file, trait_catalogue, trait_files
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.catalogue_edits import Edit, EditKind, edited_catalogue, edits_stamp
from apps.engines.genetics.catalogue_reader import Plain
from apps.engines.genetics.errors import CatalogueError, GeneticsError
from apps.engines.genetics.notation import parse_notation

log = logging.getLogger(__name__)
KEPT = 16
"""Edited catalogues kept in a process; a facility has one per species and, while edits go in, a few older ones."""
_read: dict[tuple[str, str], Catalogue] = {}


def catalogue_of(species: Species) -> Catalogue | None:
    """The species' catalogue in force, or None when it has none (its traits are kept as typed). Where no file is
    shipped the house's edits alone make one.

    No query while nothing was edited or what was edited is known to the process. Edits that contradict a newer
    shipped file are left out, which is logged and told on the page of the catalogue.
    """
    try:
        shipped: Catalogue | None = trait_catalogue(species.scientific)
    except KeyError:
        shipped = None
    if not species.catalogue_stamp:
        return shipped
    key = (f"{species.scientific} {trait_file(species)['version']}", species.catalogue_stamp)
    found = _read.get(key)
    if found is None:
        edits = edits_of(edits_in_force(species))
        try:
            found = edited_catalogue(trait_file(species), edits)
        except CatalogueError:
            log.exception("edits of a trait catalogue left out", extra={"species": species.scientific})
            return shipped
        if edits_stamp(edits) == species.catalogue_stamp:
            while len(_read) >= KEPT:
                del _read[next(iter(_read))]
            _read[key] = found
    return found


def trait_file(species: Species) -> Plain:
    """What edits of a species are laid over: its shipped file, else an empty one in its name."""
    try:
        return trait_files()[trait_catalogue(species.scientific).species]
    except KeyError:
        names = {"species": species.scientific, "common_name": species.common, "slug": species.slug.replace("-", "_")}
        return {**empty_file(), **names}


def catalogue_fault(species: Species) -> str:
    """Why the house's edits are left out, or nothing."""
    found = catalogue_of(species)
    if not species.catalogue_stamp or (found is not None and found.version.endswith(species.catalogue_stamp)):
        return ""
    try:
        edited_catalogue(trait_file(species), edits_of(edits_in_force(species)))
    except CatalogueError as error:
        return str(error)
    return ""


def catalogue_edits(species: Species) -> QuerySet[CatalogueEdit]:
    """All edits of a species, newest first, withdrawn ones too."""
    return CatalogueEdit.objects.filter(species=species).select_related("by", "withdrawn_by").order_by("-number")


def edits_in_force(species: Species) -> QuerySet[CatalogueEdit]:
    """Edits not withdrawn, in the order in which they are laid over the file."""
    return CatalogueEdit.objects.filter(species=species, withdrawn_at__isnull=True).order_by("number")


def edits_of(rows: Iterable[CatalogueEdit]) -> list[Edit]:
    """Rows as the engine takes them."""
    return [Edit(row.number, EditKind(row.kind), row.body) for row in rows]


def unread_notations(species: Species, catalogue: Catalogue) -> list[str]:
    """What is said of animals (or priced) and could not be read with this catalogue. Two queries."""
    said = set(Animal.objects.filter(species=species).exclude(traits="").values_list("traits", flat=True).distinct())
    said |= set(TraitValue.objects.filter(species=species).values_list("notation", flat=True))
    wrong = []
    for words in sorted(said):
        try:
            parse_notation(words, catalogue)
        except GeneticsError:
            wrong.append(words)
    return wrong


def animals_saying(species: Species, catalogue: Catalogue, series: str) -> int:
    """How many animals' statements speak of a series: what an edit of it works out anew."""
    count = 0
    readings: dict[str, bool] = {}
    for words in Animal.objects.filter(species=species).exclude(traits="").values_list("traits", flat=True):
        if words not in readings:
            try:
                readings[words] = series in parse_notation(words, catalogue).loci
            except GeneticsError:
                readings[words] = False
        count += readings[words]
    return count
