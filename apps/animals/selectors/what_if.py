"""What-if `cross`: what a pair can give, from trade notation or recorded animals. The other genetics what-ifs
stand beside it and are offered from here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from apps.animals.selectors.recorded_beliefs import RecordedBelief, pedigree_above, recorded_belief
from apps.animals.selectors.what_if_beliefs import beliefs_what_if
from apps.animals.selectors.what_if_kinship import kinship_row_json, kinship_what_if
from apps.animals.selectors.what_if_parts import bounded, question_deadline, read_catalogue, read_notation
from apps.core.questions import QuestionError, Reader
from apps.engines.genetics.belief import Belief
from apps.engines.genetics.catalogue import Catalogue
from apps.engines.genetics.cross import CrossResult, Parent, cross
from apps.engines.genetics.errors import CrossError
from apps.engines.genetics.gametes import Phase
from apps.engines.genetics.tables import named_belief
from apps.engines.genetics.wording import percent_words, write_notation
from apps.engines.pedigree.errors import PedigreeError
from apps.engines.pedigree.kinship import inbreeding
from apps.engines.pedigree.records import build_pedigree

__all__ = ["beliefs_what_if", "cross_what_if", "kinship_what_if"]

Lookup = Callable[[str], RecordedBelief | None]
WEIGHT_TOLERANCE = Fraction(1, 10**9)


@dataclass(frozen=True, slots=True)
class _Side:
    """One parent as asked: its belief, and the record it came from."""

    belief: Belief
    recorded: RecordedBelief | None


def cross_what_if(question: Mapping[str, object], animal_belief: Lookup | None = None) -> dict[str, object]:
    """Answer `{species, dam, sire, clutch_size, by_sex?, phase?, recombination?, v?}`.

    `animal_belief` finds a recorded animal by code (default: the records). Raises QuestionError with a JSON path.
    """
    lookup = recorded_belief if animal_belief is None else animal_belief
    reader = Reader(question)
    catalogue = read_catalogue(reader)
    dam = _side(reader, "dam", "male", catalogue, lookup)
    if not reader.present("sire"):
        raise reader.error("sire", "this key is missing", "Write the sire's traits, or null for parthenogenesis")
    sire = None if reader.raw("sire") is None else _side(reader, "sire", "female", catalogue, lookup)
    clutch = _clutch(reader)
    by_sex = reader.flag("by_sex")
    phase = _phase(reader)
    recombination = _rational(reader, "recombination", high=0.5)
    v = _rational(reader, "v", high=2 / 3)
    reader.done()
    try:
        with bounded("crosses of this size"):
            result = cross(
                catalogue,
                Parent(dam.belief),
                None if sire is None else Parent(sire.belief, phase),
                clutch=clutch,
                by_sex=by_sex,
                recombination=recombination,
                v=Fraction(0) if v is None else v,
                deadline=question_deadline(),
            )
            if sire is None and phase is not None:
                raise CrossError("phase.sire", "There is no sire.", "Leave out phase.")
    except CrossError as error:
        raise QuestionError(f"$.{error.field}", error.problem.rstrip("."), error.fix) from error
    return _answer(catalogue, dam, sire, clutch, result, by_sex)


def _side(reader: Reader, key: str, wrong_sex: str, catalogue: Catalogue, lookup: Lookup) -> _Side:
    value = reader.raw(key)
    if not isinstance(value, Mapping):
        return _Side(read_notation(reader.need_text(key), catalogue, reader.at(key)), None)
    child = reader.need_child(key)
    code = child.need_text("code")
    child.done()
    recorded = lookup(code)
    if recorded is None:
        raise child.error("code", f"no animal has the code {code!r}", "Correct the code, or write the traits")
    if recorded.species != catalogue.species:
        raise child.error("code", f"{recorded.code} is a {recorded.species}", f"Name a {catalogue.species}")
    if recorded.sex == wrong_sex:
        raise child.error("code", f"{recorded.code} is recorded as {wrong_sex}", f"Name a {key} of the right sex")
    if recorded.belief is None:
        raise child.error(
            "code", f"the recorded traits {recorded.notation!r} cannot be read: {recorded.why}", "Correct the record"
        )
    return _Side(recorded.belief, recorded)


def _clutch(reader: Reader) -> dict[int, Fraction]:
    value = reader.raw("clutch_size")
    if not isinstance(value, Mapping):
        size = reader.integer("clutch_size", low=1, high=100)
        assert size is not None
        return {size: Fraction(1)}
    weights: dict[int, Fraction] = {}
    for key, weight in value.items():
        path = f"{reader.at('clutch_size')}.{key}"
        if not str(key).isdigit() or not 1 <= int(key) <= 100:
            raise QuestionError(path, f"{key!r} is not a clutch size", "Write a whole number from 1 to 100")
        share = Fraction(str(Reader.checked_number(weight, path, low=0.0, high=1.0)))
        if share:
            weights[int(key)] = weights.get(int(key), Fraction(0)) + share
    total = sum(weights.values(), Fraction(0))
    if abs(total - 1) > WEIGHT_TOLERANCE:
        raise reader.error("clutch_size", f"the weights sum to {float(total):g}", "Let them sum to 1")
    return {size: share / total for size, share in weights.items()}


def _phase(reader: Reader) -> Phase | None:
    child = reader.child("phase", required=False)
    if child is None:
        return None
    if child.has("dam"):
        raise child.error("dam", "a dam has no phase: her two X chromosomes are alike", "Leave it out")
    word = child.need_text("sire", choices=[phase.value for phase in Phase])
    child.done()
    return Phase(word)


def _rational(reader: Reader, key: str, *, high: float) -> Fraction | None:
    value = reader.number(key, low=0.0, high=high, required=False)
    return None if value is None else min(Fraction(str(value)), Fraction(str(high)).limit_denominator(1000))


def _answer(
    catalogue: Catalogue,
    dam: _Side,
    sire: _Side | None,
    clutch: Mapping[int, Fraction],
    result: CrossResult,
    by_sex: bool,
) -> dict[str, object]:
    sides = {"dam": dam, "sire": sire}
    answer: dict[str, object] = {
        "species": catalogue.species,
        "profile_version": catalogue.version,
        "clutch_size": {str(size): float(share) for size, share in sorted(clutch.items())},
        "parents": {who: None if side is None else _side_json(catalogue, side) for who, side in sides.items()},
        "outcomes": _outcomes(result, by_sex),
        "looks": _looks(result, by_sex),
        "remaining_mass": {"outcomes": float(result.outcomes_remaining), "looks": float(result.looks_remaining)},
        "non_viable_share": float(result.non_viable_share),
        "welfare": [
            {"who": line.who, "fact": line.fact, "evidence": line.evidence, "share": float(line.share)}
            for line in result.welfare
        ],
    }
    if result.recombination is not None:
        answer["recombination"] = float(result.recombination)
    notes = [
        f"{name} ({who}) is line-bred: it has no locus, so no odds are computed for it."
        for who, side in sides.items()
        for name in (side.belief.line_bred if side else ())
    ]
    if notes:
        answer["notes"] = notes
    if sire is not None and dam.recorded is not None and sire.recorded is not None:
        answer["kinship"] = recorded_kinship(dam.recorded.code, sire.recorded.code)
    return answer


def _side_json(catalogue: Catalogue, side: _Side) -> dict[str, object]:
    said: dict[str, object] = {} if side.recorded is None else {"code": side.recorded.code}
    said["notation"] = write_notation(side.belief, catalogue, rounded=True)
    said["belief"] = {
        code: {name: {"probability": float(share), "exact": str(share)} for name, share in shares.items()}
        for code, shares in named_belief(side.belief.loci).items()
    }
    return said


def _outcomes(result: CrossResult, by_sex: bool) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for row in result.outcomes:
        made: dict[str, object] = {"look": row.look, "carries": list(row.carries)}
        if by_sex:
            made["sex"] = row.sex
        made |= {
            "probability": float(row.probability),
            "exact": str(row.probability),
            "at_least_one": row.at_least_one,
            "also_called": list(row.also_called),
        }
        rows.append(made)
    return rows


def _looks(result: CrossResult, by_sex: bool) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for row in result.looks:
        hets = [_het_words(name, share) for name, share in row.hets]
        made: dict[str, object] = {
            "look": row.look,
            "probability": float(row.probability),
            "exact": str(row.probability),
            "at_least_one": row.at_least_one,
            "words": " ".join([row.look, *hets]),
            "hets": [
                {"trait": name, "probability": float(share), "exact": str(share), "words": words}
                for (name, share), words in zip(row.hets, hets, strict=True)
            ],
            "also_called": list(row.also_called),
        }
        if by_sex:
            made["by_sex"] = {sex: float(share) for sex, share in row.by_sex.items()}
        rows.append(made)
    return rows


def _het_words(name: str, share: Fraction) -> str:
    return f"het {name}" if share == 1 else f"{percent_words(share, rounded=True)} het {name}"


def recorded_kinship(dam: str, sire: str) -> dict[str, object]:
    """f of a recorded pair, which is the inbreeding of their young, with what causes it."""
    records, fusion = pedigree_above((dam, sire))
    with bounded("kinship"):
        deadline = question_deadline()
        try:
            pedigree = build_pedigree(records, fusion)
        except PedigreeError as error:
            raise QuestionError("$.dam.code", f"the recorded pedigree cannot be: {error.problem}", error.fix) from error
        return kinship_row_json(pedigree, inbreeding(pedigree, deadline=deadline), dam, sire, deadline)
