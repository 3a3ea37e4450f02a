"""What-if `kinship`: a pedigree in the contract's JSON, answered by the pedigree engine alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from apps.animals.selectors.what_if_parts import bounded, question_deadline
from apps.core.questions import QuestionError, Reader
from apps.engines.pedigree.errors import PedigreeError
from apps.engines.pedigree.kinship import diversity, inbreeding
from apps.engines.pedigree.lines import Floats
from apps.engines.pedigree.paths import kinship_through
from apps.engines.pedigree.records import AnimalRecord, Pedigree, build_pedigree

SEXES = ("female", "male", "unknown")
MOST_PAIRS_ASKED = 2_000


def kinship_what_if(question: Mapping[str, object]) -> dict[str, object]:
    """Answer `{animals, pairs?, parthenogens?, living?}`; raises QuestionError with a JSON path."""
    reader = Reader(question)
    rows = [_record(row) for row in reader.children("animals")]
    if not rows:
        raise reader.error("animals", "the list is empty", "List at least one animal")
    parthenogens = _parthenogens(reader)
    pairs = _pairs(reader)
    living = reader.texts("living") if reader.has("living") else None
    reader.done()
    try:
        pedigree = build_pedigree(rows, parthenogens)
    except PedigreeError as error:
        raise _located(error, rows) from error
    for index, pair in enumerate(pairs):
        for side, name in enumerate(pair):
            _known(pedigree, name, f"$.pairs[{index}][{side}]")
    for index, name in enumerate(living or ()):
        _known(pedigree, name, f"$.living[{index}]")
    if living is not None and len(set(living)) != len(living):
        raise reader.error("living", "an animal is listed twice", "List every living animal once")
    with bounded("kinship"):
        return _answer(pedigree, pairs, pedigree.ids if living is None else living)


def _answer(pedigree: Pedigree, pairs: Sequence[tuple[str, str]], living: Sequence[str]) -> dict[str, object]:
    deadline = question_deadline()
    inbred = inbreeding(pedigree, deadline=deadline)
    places = [pedigree.place[name] for name in living]
    stats = diversity(pedigree, inbred, places)
    return {
        "inbreeding": {name: float(inbred[place]) for name, place in pedigree.place.items()},
        "kinship": [kinship_row_json(pedigree, inbred, one, other, deadline) for one, other in pairs],
        "mean_kinship": {name: float(mean) for name, mean in zip(living, stats.mean_kinship, strict=True)},
        "founder_equivalents": stats.founder_equivalents,
        "founder_genome_equivalents": stats.founder_genome_equivalents,
        "gene_diversity": stats.gene_diversity,
    }


def kinship_row_json(
    pedigree: Pedigree, inbred: Floats, one: str, other: str, deadline: float | None
) -> dict[str, object]:
    """f of one pair with the common ancestors that cause it."""
    f, through = kinship_through(pedigree, inbred, pedigree.place[one], pedigree.place[other], deadline=deadline)
    return {
        "a": one,
        "b": other,
        "f": f,
        "through": [
            {"ancestor": item.ancestor, "paths": item.paths, "contribution": item.contribution} for item in through
        ],
    }


def _record(row: Reader) -> AnimalRecord:
    record = AnimalRecord(
        id=row.need_text("id"),
        sex=row.need_text("sex", choices=SEXES),
        dam=row.text("dam", required=False),
        sire=row.text("sire", required=False),
    )
    row.done()
    return record


def _parthenogens(reader: Reader) -> dict[str, float]:
    given = reader.raw("parthenogens")
    if given is None:
        return {}
    if not isinstance(given, Mapping):
        raise reader.error("parthenogens", "this must be an object of id to v", 'Write {"P-1": 0}')
    path = reader.at("parthenogens")
    return {
        str(name): Reader.checked_number(value, f"{path}.{name}", low=0.0, high=1.0) for name, value in given.items()
    }


def _pairs(reader: Reader) -> list[tuple[str, str]]:
    given = reader.raw("pairs")
    if given is None:
        return []
    if not isinstance(given, list):
        raise reader.error("pairs", "this must be a list of pairs of ids", 'Write [["A", "B"]]')
    if len(given) > MOST_PAIRS_ASKED:
        raise reader.error("pairs", f"{len(given)} pairs are asked", f"Ask at most {MOST_PAIRS_ASKED} at a time")
    pairs: list[tuple[str, str]] = []
    for index, pair in enumerate(given):
        if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(name, str) for name in pair):
            raise QuestionError(f"$.pairs[{index}]", "a pair is two ids", 'Write ["A", "B"]')
        pairs.append((pair[0], pair[1]))
    return pairs


def _known(pedigree: Pedigree, name: str, path: str) -> None:
    if name not in pedigree.place:
        raise QuestionError(path, f"{name!r} is not listed in animals", "List it, or correct the id")


def _located(error: PedigreeError, rows: Sequence[AnimalRecord]) -> QuestionError:
    if error.field == "parthenogens":
        return QuestionError(f"$.parthenogens.{error.animal}", error.problem.rstrip("."), error.fix)
    places = [index for index, row in enumerate(rows) if row.id == error.animal]
    index = places[-1] if error.field == "id" else places[0]
    return QuestionError(f"$.animals[{index}].{error.field}", error.problem.rstrip("."), error.fix)
