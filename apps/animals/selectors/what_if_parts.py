"""What the genetics questions share: the catalogue asked for, notation at a JSON path, the time allowed."""

from __future__ import annotations

import difflib
import time
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings

from apps.animals.models import Species
from apps.animals.selectors.catalogues import catalogue_of
from apps.animals.selectors.knowledge_traits import trait_catalogue, trait_species
from apps.animals.selectors.species import species_by_name
from apps.core.questions import NotYetAnswered, QuestionError, Reader
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.errors import DeadlinePassed as CrossDeadline
from apps.engines.genetics.errors import NotationError
from apps.engines.genetics.notation import parse_notation
from apps.engines.pedigree.errors import DeadlinePassed as PedigreeDeadline
from apps.engines.pedigree.errors import TooLarge


def read_catalogue(reader: Reader) -> Catalogue:
    """The catalogue of `species`, by scientific name, common name or slug: the house's where it has edited it."""
    name = reader.need_text("species")
    try:
        shipped = trait_catalogue(name)
        species = Species.objects.filter(scientific=shipped.species).first()
        return (species and catalogue_of(species)) or shipped
    except KeyError:
        own = species_by_name(name)
        house = catalogue_of(own) if own is not None else None
        if house is not None:
            return house
        known = trait_species()
        near = difflib.get_close_matches(name.casefold(), [word.casefold() for word in known], n=1)
        hint = next((f"Did you mean {word}? " for word in known if near and word.casefold() == near[0]), "")
        raise reader.error(
            "species", f"there is no trait catalogue for {name!r}", f"{hint}Choose from {', '.join(known)}"
        ) from None


def read_notation(text: str, catalogue: Catalogue, path: str) -> Belief:
    """Trade notation at a JSON path."""
    try:
        return parse_notation(text, catalogue)
    except NotationError as error:
        fix = error.fix
        if error.near and not all(name in fix for name in error.near):
            fix = f"{fix} Nearest: {', '.join(error.near)}"
        raise QuestionError(path, error.problem.rstrip("."), fix) from error


def question_deadline() -> float:
    """When to stop computing, in time.monotonic seconds."""
    return time.monotonic() + float(settings.WHAT_IF_SECONDS)


@contextmanager
def bounded(what: str) -> Iterator[None]:
    """Turns an engine's limits into refusals of the question."""
    try:
        yield
    except (CrossDeadline, PedigreeDeadline):
        raise QuestionError(
            "$", f"this was not computed within {settings.WHAT_IF_SECONDS:g} seconds", "Ask about fewer animals"
        ) from None
    except TooLarge as error:
        raise NotYetAnswered(f"{what}: {error}") from error
