"""What the page of a cross shows: rows in words, the doubt, the kinship, the welfare, the value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, cast

from apps.animals.selectors.crosses import CrossAnswer, CrossSide
from apps.core.units import money_text
from apps.engines.genetics.welfare import WelfareLine
from apps.engines.genetics.wording import percent_words, write_notation

ROWS_SHOWN = 60
SMALL_FRACTION = 10_000


@dataclass(frozen=True, slots=True)
class OddsRow:
    """One row of odds."""

    look: str
    carries: str
    called: str
    sexes: str
    percent: str
    exact: str
    at_least_one: str


@dataclass(frozen=True, slots=True)
class CrossPage:
    """The sheet of one cross, in words."""

    title: str
    lead: str
    parents: list[tuple[str, str, str]]
    looks: list[OddsRow]
    looks_left: str
    outcomes: list[OddsRow]
    outcomes_left: str
    clutch_words: str
    welfare: list[tuple[str, str, str, str]]
    out: list[tuple[str, str]]
    lifted: list[str]
    lost: str
    kinship: str
    through: list[tuple[str, str]]
    value: str
    value_note: str
    notes: list[str]
    by_sex: bool


def cross_page(answer: CrossAnswer, *, show_money: bool) -> CrossPage:
    """The answer as words."""
    result = answer.result
    sides = [("dam", answer.dam), *([("sire", answer.sire)] if answer.sire else [])]
    parents = [_parent(answer, who, side) for who, side in sides]
    value, value_note = _value(answer) if show_money else ("", "")
    kinship, through = _kinship(answer)
    lost = ""
    if result.non_viable_share:
        lost = (
            f"{chance_words(result.non_viable_share)} of the eggs are expected to be lost (lethal genotypes). "
            "The odds below are of the hatchlings that are left."
        )
    return CrossPage(
        title=" x ".join(words for _, words, _ in parents),
        lead=_lead(answer),
        parents=parents,
        looks=[_look(row) for row in result.looks[:ROWS_SHOWN]],
        looks_left=_left([row.probability for row in result.looks], result.looks_remaining),
        outcomes=[_outcome(row) for row in result.outcomes[:ROWS_SHOWN]],
        outcomes_left=_left([row.probability for row in result.outcomes], result.outcomes_remaining),
        clutch_words=_clutch_words(answer),
        welfare=[_welfare(line) for line in result.welfare],
        out=[(block.name, f"{block.fact} {chance_words(block.share)} ({block.evidence})") for block in answer.blocks],
        lifted=list(answer.lifted),
        lost=lost,
        kinship=kinship,
        through=through,
        value=value,
        value_note=value_note,
        notes=_notes(answer),
        by_sex=answer.by_sex,
    )


def chance_words(share: Fraction) -> str:
    """`25 %`, `33.3 %`, `0.4 %`, `0.024 %`: never 0 or 100 for what is not certain."""
    if share in (0, 1):
        return f"{int(share * 100)} %"
    percent = float(share) * 100
    if percent >= 99.95:
        return "over 99.9 %"
    digits = 1 if percent >= 1 else 2
    while percent and round(percent, digits) == 0:
        digits += 1
    text = f"{percent:.{digits}f}".rstrip("0").rstrip(".")
    return f"{text} %"


def _parent(answer: CrossAnswer, who: str, side: CrossSide) -> tuple[str, str, str]:
    words = write_notation(side.belief, answer.catalogue, rounded=True)
    if side.animal is None:
        return who, words, ""
    return who, f"{side.animal.code} ({words})", side.animal.get_absolute_url()


def _lead(answer: CrossAnswer) -> str:
    result = answer.result
    if not result.looks:
        return "No hatchling is expected: every egg of this cross has a lethal genotype."
    best = result.looks[0]
    count = "one look" if len(result.looks) == 1 else f"{len(result.looks)} looks"
    if result.looks_remaining:
        count = f"more than {len(result.looks)} looks"
    return f"{count[:1].upper()}{count[1:]}. The likeliest is {best.look}, {chance_words(best.probability)}."


def _exact(share: Fraction) -> str:
    return str(share) if share.denominator <= SMALL_FRACTION else ""


def _look(row: Any) -> OddsRow:
    hets = [
        f"het {name}" if share == 1 else f"{percent_words(share, rounded=True)} het {name}" for name, share in row.hets
    ]
    sexes = ", ".join(
        f"{chance_words(share / row.probability)} {'sons' if sex == 'male' else 'daughters'}"
        for sex, share in row.by_sex.items()
    )
    return OddsRow(
        look=row.look,
        carries=", ".join(hets),
        called=", ".join(row.also_called),
        sexes=sexes,
        percent=chance_words(row.probability),
        exact=_exact(row.probability),
        at_least_one=chance_words(Fraction(row.at_least_one)),
    )


def _outcome(row: Any) -> OddsRow:
    return OddsRow(
        look=row.look,
        carries=", ".join(f"het {name}" for name in row.carries),
        called=", ".join(row.also_called),
        sexes={"male": "son", "female": "daughter"}.get(row.sex or "", ""),
        percent=chance_words(row.probability),
        exact=_exact(row.probability),
        at_least_one=chance_words(Fraction(row.at_least_one)),
    )


def _left(shares: list[Fraction], unlisted: Fraction) -> str:
    more = len(shares) - ROWS_SHOWN
    rest = sum(shares[ROWS_SHOWN:], Fraction(0)) + unlisted
    if not rest:
        return ""
    rows = f"{more} more rows" if more > 0 else "More rows"
    return f"{rows}{' and others too many to list' if unlisted and more > 0 else ''}, {chance_words(rest)} together."


def _clutch_words(answer: CrossAnswer) -> str:
    low, high = min(answer.clutch), max(answer.clutch)
    words = f"{low}" if low == high else f"{low} to {high}"
    if not answer.clutch_assumed:
        return words
    return f"{words}, the species' usual range" if high > 1 else "1; no usual range is known"


def _welfare(line: WelfareLine) -> tuple[str, str, str, str]:
    share = "" if line.share == 1 else f"{chance_words(line.share)} of the eggs"
    if line.who != "young" and line.share != 1:
        share = f"with a chance of {chance_words(line.share)}"
    return line.who, f"{line.name}: {line.fact}", share, line.evidence


def _kinship(answer: CrossAnswer) -> tuple[str, list[tuple[str, str]]]:
    if answer.kinship_why:
        return f"Not computed: {answer.kinship_why}", []
    if answer.kinship is None:
        return "", []
    f = cast(float, answer.kinship["f"])
    if not f:
        return "0: no common ancestor is recorded. Unknown parents make it look low.", []
    rows = cast("list[Mapping[str, Any]]", answer.kinship["through"])
    through = [
        (str(row["ancestor"]), f"{row['paths']} {'path' if row['paths'] == 1 else 'paths'}, {row['contribution']:.4g}")
        for row in rows
    ]
    return f"{f:.4g}: the inbreeding of their young. Unknown parents make it look low.", through


def _value(answer: CrossAnswer) -> tuple[str, str]:
    mean = answer.mean_clutch
    size = f"{float(mean):g}"
    if answer.blocks:
        return "not valued", "A welfare fact keeps this cross out of suggestions and value."
    if not answer.has_values:
        return f"{size} young", "No trait values are set, so every young counts 1."
    worth = answer.worth
    assert worth is not None
    young = money_text(round(worth.per_young), answer.currency)
    brood = money_text(round(worth.per_young * mean), answer.currency)
    missing = 1 - worth.priced
    note = f"{young} a hatchling on average, by the values set here."
    if missing:
        note += f" {chance_words(missing)} of them have no value and count nothing."
    return brood, note


def _notes(answer: CrossAnswer) -> list[str]:
    notes = []
    if answer.phase_assumed:
        notes.append(
            "The sire has one copy of a sex-linked trait, and it is not said from whom he had it: half each is taken. "
            "Had he it from his sire, mostly sons show it; from his dam, mostly daughters."
        )
    if answer.result.recombination is not None:
        figure = next(
            (locus.recombination for locus in answer.catalogue.loci if locus.sex_linked and locus.recombination), None
        )
        source = f" ({figure.source}; confidence {figure.confidence})" if figure else ""
        notes.append(f"Recombination with sex: {chance_words(answer.result.recombination)}{source}.")
    for side in (answer.dam, answer.sire):
        for name in side.belief.line_bred if side else ():
            notes.append(f"{name} is line-bred: it has no locus, so no odds are computed for it.")
    return notes
