"""The house's own word on genes: additions to a shipped trait catalogue and changes of it, each on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import CatalogueEditKind
from apps.animals.events import CatalogueEdited
from apps.animals.models import CatalogueEdit, Species
from apps.animals.selectors.catalogues import (
    animals_saying,
    catalogue_of,
    edits_in_force,
    edits_of,
    trait_file,
    unread_notations,
)
from apps.animals.services.knowledge import traits_listed
from apps.core import clock
from apps.core.errors import Invalid, WrongState
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.catalogue_edits import Edit, EditKind, edited_catalogue, edits_stamp
from apps.engines.genetics.errors import CatalogueError
from apps.jobs.services import event_publish

LEAST_REASON = 10
"""Letters of a reason: shorter ones say nothing."""
LENGTHS = {"name": 60, "label": 40, "series": 40, "gene": 80, "fact": 400, "source": 400, "note": 400}


@service("catalogue.edit", may=Permission.TRAITS_EDIT)
def catalogue_edit(
    *,
    by: Person,
    species: Species,
    kind: CatalogueEditKind | str,
    body: Mapping[str, Any],
    reason: str,
    sure: bool = False,
    request_key: str | None = None,
) -> CatalogueEdit:
    """Add to a species' catalogue, or change it: ``body`` as engines.genetics.catalogue_edits says.

    What rests on it is worked out anew in the background. Where animals speak of the series already, ``sure`` is
    asked for first. Raises Invalid naming the field of the body; nothing is written then.
    """
    row = _locked(species)
    if kind not in CatalogueEditKind.values:
        raise Invalid(f"“{kind}” is no kind of edit. Choose from {', '.join(CatalogueEditKind.values)}.", field="kind")
    words = _reason(reason)
    for name, most in LENGTHS.items():
        if len(str(body.get(name, ""))) > most:
            raise Invalid(f"At most {most} characters.", field=name)
    last = CatalogueEdit.objects.filter(species=row).order_by("-number").values_list("number", flat=True).first() or 0
    edit = Edit(last + 1, EditKind(kind), dict(body))
    edits = [*edits_of(edits_in_force(row)), edit]
    fresh = _readable(row, edits)
    # a pair's name and a welfare fact move no belief
    touched = animals_saying(row, fresh, str(body.get("series", ""))) if edit.kind is EditKind.TRAIT else 0
    if touched and not sure:
        what = "animal speaks" if touched == 1 else "animals speak"
        raise Invalid(
            f"{touched} {what} of this series: what they and their relatives carry is worked out anew. "
            "Say that you are sure.",
            field="sure",
        )
    made = CatalogueEdit.objects.create(
        species=row,
        number=edit.number,
        kind=kind,
        about=_about(edit)[:160],
        body=dict(body),
        reason=words,
        made_at=clock.now(),
        by=by,
    )
    _in_force(by, row, edits)
    audit_write(by=by, act="catalogue.edit", subject=made, detail={"about": made.about, "body": dict(body)})
    return made


@service("catalogue-edit.withdraw", may=Permission.TRAITS_EDIT)
def catalogue_edit_withdraw(
    *, by: Person, edit: CatalogueEdit, reason: str, request_key: str | None = None
) -> CatalogueEdit:
    """Take an edit back; later ones stay. Raises WrongState when it is taken back already, Invalid when animals (or a
    later edit) speak of what would be gone."""
    row = _locked(edit.species)
    words = _reason(reason)
    standing = CatalogueEdit.objects.get(pk=edit.pk)
    if standing.withdrawn_at is not None:
        raise WrongState(f"{edit.about} is taken back already.", field="edit")
    edits = edits_of(edits_in_force(row).exclude(pk=edit.pk))
    _readable(row, edits)
    standing.withdrawn_at, standing.withdrawn_by, standing.withdrawn_why = clock.now(), by, words
    standing.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why"])
    _in_force(by, row, edits)
    audit_write(by=by, act="catalogue-edit.withdraw", subject=standing, detail={"about": edit.about, "reason": words})
    return standing


def _locked(species: Species) -> Species:
    """The row, so that two edits at once are counted in turn. A species without a shipped file starts from nothing."""
    return Species.objects.select_for_update().get(pk=species.pk)


def _reason(text: str) -> str:
    words = " ".join(text.split())
    if len(words) < LEAST_REASON:
        raise Invalid("Say why in a sentence: it stays on record.", field="reason")
    return words[:400]


def _readable(species: Species, edits: Sequence[Edit]) -> Catalogue:
    """The catalogue with these edits, which must make sense and read whatever could be read of animals before."""
    try:
        fresh = edited_catalogue(trait_file(species), edits)
    except CatalogueError as error:
        last = error.where.rsplit(".", 1)[-1]
        raise Invalid(
            f"{error.problem[:1].upper()}{error.problem[1:]}.", field="name" if "$" in last else last
        ) from error
    standing = catalogue_of(species)
    if standing is None:
        return fresh
    never = set(unread_notations(species, standing))
    wrong = [words for words in unread_notations(species, fresh) if words not in never]
    if wrong:
        some = "; ".join(wrong[:3]) + (f" and {len(wrong) - 3} more" if len(wrong) > 3 else "")
        raise Invalid(
            f"What is said of animals could not be read any more: {some}. State them anew first.", field="name"
        )
    return fresh


def _about(edit: Edit) -> str:
    if edit.kind is EditKind.TRAIT:
        return f"{edit.body.get('name')}"
    if edit.kind is EditKind.PAIR:
        return f"{' and '.join(edit.body.get('pair', ()))}: {', '.join(edit.body.get('called', ()))}"  # type: ignore[arg-type]
    when = edit.body.get("when")
    copies = when if isinstance(when, Mapping) else {}
    return " with ".join(f"{'two copies of ' if number == 2 else ''}{name}" for name, number in copies.items())


def _in_force(by: Person, species: Species, edits: Sequence[Edit]) -> None:
    species.catalogue_stamp = edits_stamp(edits)
    species.save(update_fields=["catalogue_stamp"])
    traits_listed(species)
    event_publish(CatalogueEdited(species.ref))
