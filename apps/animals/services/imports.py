"""The animals file: parents may stand later in the same file, loops are named, a repeat changes nothing."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any

from apps.accounts.models import Person
from apps.animals.choices import Origin, Purpose, Sex, Status
from apps.animals.models import Animal, Species
from apps.animals.selectors import all_species, animals_by_codes, near_species
from apps.animals.services.lineage import check_age, check_dam, check_sire
from apps.animals.services.register import AnimalItem, animals_register, check_code, check_dates, notation_checked
from apps.core.codes import code_key
from apps.core.errors import DomainError, Invalid
from apps.core.exchange import (
    Column,
    ImportCounts,
    Importer,
    RowError,
    cell,
    choice_cell,
    date_cell,
    flag_cell,
    need_cell,
)
from apps.places.models import Tub

# merged is what a correction makes of a record; no file does
IMPORTED_STATES = [word for word in Status.values if word != Status.MERGED]


class AnimalsImporter(Importer[AnimalItem]):
    """Animals with their lineage."""

    kind = "animals"
    title = "Animals"
    columns = (
        Column("code", "the facility's own code, kept as it is", required=True, example="PR-0412"),
        Column("species", "scientific or common name", required=True, example="Python regius"),
        Column("sex", "female, male or unknown", example="female"),
        Column("hatched_on", "hatched or born", example="2021-07-11"),
        Column("dam_code", "code of the dam, here or in this file", example="PR-0093"),
        Column("sire_code", "code of the sire, here or in this file", example="PR-0147"),
        Column("traits", "as the trade writes them", example="Pastel Clown het Albino"),
        Column("origin", "bred here, acquired or unknown", example="bred here"),
        Column("acquired_on", "day it came here", example=""),
        Column("acquired_from", "whom it came from", example=""),
        Column("purpose", "breeder, holdback or stock", example="breeder"),
        Column("tub", "label of the tub it is in", example="3B-07"),
        Column("status", "here, loaned, missing, sold, given away or dead", example="here"),
        Column("hybrid", "yes when parents of two species are right", example="no"),
        Column("name", "a name, if it has one"),
        Column("note", "anything else"),
    )

    def __init__(self, by: Person) -> None:
        super().__init__(by)
        self.species: dict[str, Species] = {}
        self.known: dict[str, Animal] = {}
        self.tubs: dict[str, Tub] = {}
        self.in_file: dict[str, Mapping[str, str]] = {}
        self.notations: dict[tuple[int, str], str] = {}

    def prepare(self, rows: Sequence[Mapping[str, str]]) -> None:
        """Species, animals already here and tubs, in a few queries."""
        for row in all_species():
            for word in (row.scientific, row.common, row.slug):
                self.species[word.casefold()] = row
        codes = [cell(row, name) for row in rows for name in ("code", "dam_code", "sire_code")]
        self.known = animals_by_codes(codes)
        labels = {cell(row, "tub").casefold() for row in rows} - {""}
        for tub in Tub.objects.all() if labels else []:
            if tub.label.casefold() in labels:
                self.tubs[tub.label.casefold()] = tub
        self.in_file = {code_key(cell(row, "code")): row for row in rows}

    def read_row(self, row: Mapping[str, str], line: int) -> AnimalItem:
        """One animal. Raises DomainError naming the column."""
        code = check_code(need_cell(row, "code"))
        species = self._species(need_cell(row, "species"))
        hatched_on, acquired_on = date_cell(row, "hatched_on"), date_cell(row, "acquired_on")
        check_dates(hatched_on, acquired_on)
        dam_code, sire_code = cell(row, "dam_code"), cell(row, "sire_code")
        for column, parent in (("dam_code", dam_code), ("sire_code", sire_code)):
            self._check_parent(code, column, parent)
        item = AnimalItem(
            code=code,
            species=species,
            sex=Sex(choice_cell(row, "sex", Sex.values, Sex.UNKNOWN)),
            dam_code=dam_code,
            sire_code=sire_code,
            origin=Origin(choice_cell(row, "origin", Origin.values, Origin.UNKNOWN)),
            hatched_on=hatched_on,
            acquired_on=acquired_on,
            acquired_from=cell(row, "acquired_from"),
            purpose=Purpose(choice_cell(row, "purpose", Purpose.values, Purpose.STOCK)),
            status=Status(choice_cell(row, "status", IMPORTED_STATES, Status.HERE)),
            traits=self._traits(species, cell(row, "traits")),
            tub=self._tub(cell(row, "tub")),
            name=cell(row, "name")[:60],
            note=cell(row, "note"),
            is_hybrid=flag_cell(row, "hybrid"),
            parents=self.known,
        )
        standing = self.known.get(code_key(code))
        if standing is not None and not self._same(item, standing):
            raise Invalid(
                f"{standing.code} is recorded already with other values. Change it on its page; codes stay.",
                field="code",
            )
        return item

    def key(self, item: AnimalItem) -> object:
        """A code stands once."""
        return code_key(item.code)

    def settle(self, items: list[tuple[int, AnimalItem]]) -> tuple[list[tuple[int, AnimalItem]], list[RowError]]:
        """Parents before young; loops, wrong parents and young of refused rows are refused by line."""
        by_key = {code_key(item.code): (line, item) for line, item in items}
        settled: list[tuple[int, AnimalItem]] = []
        state: dict[str, str] = {}
        errors: list[RowError] = []
        for key in by_key:
            self._visit(key, by_key, state, settled, errors)
        return settled, errors

    def is_known(self, item: AnimalItem) -> bool:
        """Recorded already with the same values."""
        return code_key(item.code) in self.known

    def write(self, items: Sequence[AnimalItem]) -> ImportCounts:
        """Register a chunk; its parents are known to the next."""
        for animal in animals_register(by=self.by, items=items, note="import"):
            self.known[animal.code_key] = animal
        return ImportCounts(added=len(items))

    def _visit(
        self,
        start: str,
        by_key: dict[str, tuple[int, AnimalItem]],
        state: dict[str, str],
        settled: list[tuple[int, AnimalItem]],
        errors: list[RowError],
    ) -> None:
        """Depth first without recursion: a pedigree may be deeper than Python's stack."""
        stack: list[tuple[str, bool]] = [(start, False)]
        while stack:
            key, leaving = stack.pop()
            line, item = by_key[key]
            parents = [
                (column, code_key(code))
                for column, code in (("dam_code", item.dam_code), ("sire_code", item.sire_code))
                if code and code_key(code) not in self.known
            ]
            if leaving:
                problem = self._problem(item, parents, by_key, state)
                if problem is None:
                    state[key] = "done"
                    settled.append((line, item))
                else:
                    state[key] = "refused"
                    errors.append(RowError(line, *problem))
                continue
            if key in state:
                continue
            state[key] = "open"
            stack.append((key, True))
            stack += [(parent, False) for _, parent in parents if parent in by_key and parent not in state]

    def _problem(
        self,
        item: AnimalItem,
        parents: list[tuple[str, str]],
        by_key: dict[str, tuple[int, AnimalItem]],
        state: dict[str, str],
    ) -> tuple[str, str] | None:
        for column, key in parents:
            if state.get(key) == "open":
                return (
                    column,
                    f"{item.code} and {by_key[key][1].code} descend from each other: a loop. Mend one parent.",
                )
            if key not in by_key or state.get(key) == "refused":
                return column, "The row of this parent is refused. Correct both together."
        try:
            for column, code in (("dam_code", item.dam_code), ("sire_code", item.sire_code)):
                self._check_pair(item, column, code, by_key)
        except DomainError as error:
            return error.field or "dam_code", error.message
        return None

    def _check_pair(self, item: AnimalItem, column: str, code: str, by_key: dict[str, tuple[int, AnimalItem]]) -> None:
        if not code:
            return
        parent: Any = self.known.get(code_key(code)) or by_key[code_key(code)][1]
        try:
            if column == "dam_code":
                check_dam(item.code, parent)
            else:
                check_sire(item.code, parent)
            check_age(item.code, item.hatched_on, column, parent.code, parent.hatched_on)
        except DomainError as error:
            raise Invalid(error.message, field=column) from None
        if parent.species != item.species and not item.is_hybrid:
            raise Invalid(f"{parent.code} is {parent.species}, {item.code} is {item.species}.", field=column)

    def _check_parent(self, code: str, column: str, parent: str) -> None:
        if not parent:
            return
        key = code_key(parent)
        if key == code_key(code):
            raise Invalid(f"{code} cannot be its own parent.", field=column)
        if key not in self.known and key not in self.in_file:
            near = difflib.get_close_matches(key, [*self.in_file, *self.known], n=1)
            hint = f" Did you mean {near[0].upper()}?" if near else ""
            raise Invalid(f"{parent} is neither recorded nor in this file.{hint}", field=column)

    def _species(self, name: str) -> Species:
        found = self.species.get(" ".join(name.split()).casefold())
        if found is None:
            near = near_species(name)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise Invalid(f"“{name}” is no species here.{hint} Add it on the species page first.", field="species")
        return found

    def _traits(self, species: Species, text: str) -> str:
        key = (species.pk, text)
        if key not in self.notations:
            self.notations[key] = notation_checked(species, text)
        return self.notations[key]

    def _tub(self, label: str) -> Tub | None:
        if not label:
            return None
        tub = self.tubs.get(label.casefold())
        if tub is None:
            raise Invalid(f"There is no tub labelled {label}. Set up its rack first, or leave it empty.", field="tub")
        return tub

    def _same(self, item: AnimalItem, animal: Animal) -> bool:
        """Whether the file says what is recorded (moves and status changes since then do not matter)."""
        dam = self.known.get(code_key(item.dam_code)) if item.dam_code else None
        sire = self.known.get(code_key(item.sire_code)) if item.sire_code else None
        return (
            item.species == animal.species
            and item.hatched_on == animal.hatched_on
            and item.sex in {animal.sex, Sex.UNKNOWN}
            and (dam.pk if dam else None) in {animal.dam_id, None}
            and (sire.pk if sire else None) in {animal.sire_id, None}
        )
