"""The house's own additions to a shipped trait file: laid over it before it is read, so that one reader judges both."""

from __future__ import annotations

import copy
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from apps.engines.genetics.catalogue import BLOCKING, Catalogue, TwoCopies
from apps.engines.genetics.catalogue_reader import Plain, catalogue_from_mapping
from apps.engines.genetics.errors import CatalogueError


class EditKind(StrEnum):
    """What an edit is about."""

    TRAIT = "trait"
    PAIR = "pair"
    WELFARE = "welfare"


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit. ``body`` is a row as trait files write it, with ``source`` as plain words:

    trait: series, name, inheritance, evidence, source and, where they differ from the usual, gene, label, two_copies,
    aliases, super_names, note, frequency; what a change does not name stays as it was.
    pair: pair (two names of one series), called (the trade's words).
    welfare: when (copies by name), harm, fact, evidence, source, who.
    """

    number: int
    kind: EditKind
    body: Plain


def edits_stamp(edits: Iterable[Edit]) -> str:
    """What names this set of edits, twelve letters; empty when there are none."""
    rows = [[edit.number, edit.kind, edit.body] for edit in edits]
    if not rows:
        return ""
    return hashlib.sha256(json.dumps(rows, sort_keys=True, default=str).encode()).hexdigest()[:12]


def edited_catalogue(mapping: Plain, edits: Sequence[Edit]) -> Catalogue:
    """The catalogue of a trait file with edits laid over it in order; its version names them by their stamp.

    Raises CatalogueError naming the place: `$.name`, `$.series` and so on for the edit itself, the place in the file
    for what then contradicts itself. No edit makes a lethal or blocking fact milder: those are lifted by name.
    """
    whole: dict[str, Any] = copy.deepcopy(dict(mapping))
    whole["sources"] = dict(whole.get("sources", {}))
    whole["loci"] = list(whole.get("loci", []))
    whole["welfare"] = list(whole.get("welfare") or [])
    for edit in edits:
        _LAY[edit.kind](whole, dict(edit.body), f"house-{edit.number}")
    if edits:
        whole["version"] = f"{whole['version']}+house.{edits_stamp(edits)}"
    return catalogue_from_mapping(whole)


def _trait(whole: dict[str, Any], body: dict[str, Any], key: str) -> None:
    series, name = str(body.pop("series", "")).strip(), str(body.get("name", "")).strip()
    gene = str(body.pop("gene", "") or "")
    if not series:
        raise CatalogueError("$.series", "a series code is missing")
    stands = next((locus for locus in whole["loci"] for row in locus["traits"] if row["name"] == name), None)
    if stands is not None and stands["code"] != series:
        raise CatalogueError(
            "$.series", f"{name} stands in series {stands['code']}; a trait of another series needs a name of its own"
        )
    locus = stands or next((locus for locus in whole["loci"] if locus["code"] == series), None)
    if locus is None:
        locus = {"code": series, "traits": []}
        whole["loci"].append(locus)
    if gene:
        locus["gene"] = gene
    before: dict[str, Any] = next((row for row in locus["traits"] if row["name"] == name), {})
    row = {**before, **body, "source": _sourced(whole, body, key)}
    if before.get("two_copies") == TwoCopies.LETHAL and row.get("two_copies") != TwoCopies.LETHAL:
        raise CatalogueError("$.two_copies", f"two copies of {name} are lethal; an edit does not take that back")
    locus["traits"] = [one for one in locus["traits"] if one["name"] != name] + [row]


def _pair(whole: dict[str, Any], body: dict[str, Any], key: str) -> None:
    pair = {str(name) for name in body.get("pair", ())}
    if len(pair) != 2:
        raise CatalogueError("$.pair", "name two different traits")
    for locus in whole["loci"]:
        if pair <= {row["name"] for row in locus["traits"]}:
            rows = list(locus.get("compounds") or [])
            before: dict[str, Any] = next((row for row in rows if set(row["pair"]) == pair), {})
            locus["compounds"] = [row for row in rows if set(row["pair"]) != pair] + [
                {**before, "pair": sorted(pair), "called": list(body.get("called", ()))}
            ]
            return
    raise CatalogueError("$.pair", f"{' and '.join(sorted(pair))} are not two traits of one series")


def _welfare(whole: dict[str, Any], body: dict[str, Any], key: str) -> None:
    when, who = body.get("when"), str(body.get("who", "any"))
    if not isinstance(when, Mapping) or not when:
        raise CatalogueError("$.when", "name the trait and its number of copies")
    row = {**body, "when": dict(when), "who": who, "source": _sourced(whole, body, key)}
    same = [one for one in whole["welfare"] if one["when"] == row["when"] and str(one.get("who", "any")) == who]
    if any(_blocks(one) for one in same) and not _blocks(row):
        raise CatalogueError("$.harm", "this fact blocks crosses; the owner lifts it by its name, an edit does not")
    whole["welfare"] = [one for one in whole["welfare"] if one not in same] + [row]


def _blocks(row: Mapping[str, Any]) -> bool:
    return bool(row.get("blocks", row.get("harm") in set(BLOCKING)))


def _sourced(whole: dict[str, Any], body: Mapping[str, Any], key: str) -> str:
    words = str(body.get("source", "")).strip()
    if not words:
        raise CatalogueError("$.source", "say where it is known from, or that it is common practice without a source")
    whole["sources"][key] = words
    return key


_LAY = {EditKind.TRAIT: _trait, EditKind.PAIR: _pair, EditKind.WELFARE: _welfare}
