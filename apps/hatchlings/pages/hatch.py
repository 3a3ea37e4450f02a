"""The hatch page as a typed page: the eggs as they lie, what can come out of them, who is out and whose it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from apps.animals.choices import BroodKind, SireHypothesis
from apps.animals.models import Animal, Brood, LineageDoubt, SireBelief
from apps.animals.selectors import profile_numbers
from apps.animals.selectors.beliefs import doubts_of, sires_believed
from apps.care.selectors.weights import latest_weights
from apps.core import clock
from apps.core.formats import count_text, day_text, percent_text
from apps.hatchlings.models import Identification
from apps.hatchlings.pages.pictures import egg_svg, odds_svg
from apps.hatchlings.selectors import Look, PossibleYoung, possible_young
from apps.incubation.choices import EggState
from apps.incubation.models import Box, Egg, HatchForecast
from apps.incubation.pages.box_line import short_place
from apps.incubation.selectors.eggs import boxes_of, eggs_of, forecasts_current, short_look

HATCHABLE = (EggState.IN_BOX, EggState.PIPPING)
KEYS = 8
EXPLANATIONS = 3
HYPOTHESES = {
    SireHypothesis.MALE: "a male",
    SireHypothesis.STORED: "stored sperm",
    SireHypothesis.PARTHENOGENESIS: "no sire",
    SireHypothesis.OTHER: "an unlisted male",
}


@dataclass(frozen=True)
class EggCell:
    """One egg as it lies in the box."""

    egg: Egg
    picture: str
    word: str
    detail: str
    can_be_chosen: bool
    is_chosen: bool


@dataclass(frozen=True)
class LookRow:
    """One look to tick."""

    look: Look
    key: str
    bar: str
    only: str
    is_chosen: bool


@dataclass(frozen=True)
class SireRow:
    """One candidate of one young, before and after all that was seen; `male` is None for stored sperm, an unlisted
    male or no sire at all."""

    male: Animal | None
    name: str
    before: float
    after: float | None
    bar: str
    word: str


@dataclass(frozen=True)
class YoungRow:
    """One young that is out."""

    animal: Animal
    found: Identification | None
    mass_g: float | None
    sire_word: str
    needs: bool
    sires: list[SireBelief]
    doubt: LineageDoubt | None


@dataclass(frozen=True)
class SirePanel:
    """Whose a young is: from its look and what was seen of the males."""

    animal: Animal
    title: str
    needs: bool
    rows: list[SireRow]
    is_weighed: bool
    reasons: list[str]


@dataclass(frozen=True)
class HatchPage:
    """Everything on the page."""

    brood: Brood
    box: Box | None
    where: str
    words: str
    needs: str
    eggs: list[EggCell]
    chosen: Egg | None
    waiting: int
    reasons: list[str]
    possible: PossibleYoung
    looks: list[LookRow]
    more: list[LookRow]
    young: list[YoungRow]
    panel: SirePanel | None
    forecast: HatchForecast | None
    expected: str


def hatch_page(brood: Brood, *, asked: str = "", out: str = "", chosen_look: str = "") -> HatchPage:
    """Read and lay out the sitting; ``asked`` is the ref of the egg in hand, ``out`` of the young that just came."""
    possible = possible_young(brood)
    eggs = list(eggs_of(brood))
    waiting = [egg for egg in eggs if egg.state in HATCHABLE]
    chosen = chosen_egg(eggs, asked)
    young = _young(brood, possible)
    boxes = [box for box in boxes_of(brood) if box.removed_at is None]
    rows = [_look(index, look, possible, chosen_look) for index, look in enumerate(possible.looks)]
    return HatchPage(
        brood=brood,
        box=boxes[-1] if boxes else None,
        where=short_place(boxes[-1].incubator.name) if boxes else "",
        words=_words(brood, eggs, young),
        needs=_needs(young),
        eggs=[_cell(egg, young, chosen) for egg in eggs],
        chosen=chosen,
        waiting=len(waiting),
        reasons=_reasons(brood, eggs),
        possible=possible,
        looks=rows[:KEYS],
        more=rows[KEYS:],
        young=young,
        panel=_panel(young, possible, out),
        forecast=forecasts_current([brood]).get(brood.pk),
        expected=_expected(possible, len(waiting) + len(young)),
    )


def chosen_egg(eggs: list[Egg], asked: str) -> Egg | None:
    """The egg in hand: the one asked for, else one that pips, else none (nothing hatches by default)."""
    if asked:
        return next((egg for egg in eggs if egg.ref == asked), None)
    return next((egg for egg in eggs if egg.state == EggState.PIPPING), None)


def _words(brood: Brood, eggs: list[Egg], young: list[YoungRow]) -> str:
    sires = [row.male for row in brood.sire_candidates.select_related("male").order_by("-prior") if row.male]
    parents = f"{brood.dam.code} ({short_look(brood.dam.traits)})"
    parents += " × " + (" or ".join(f"{male.code} ({short_look(male.traits)})" for male in sires) or "sire unknown")
    day = (clock.today() - brood.on).days
    if brood.kind == BroodKind.LITTER:
        return f"{parents}, born {day_text(brood.on)}, day {day}. {count_text(len(young), 'young', 'young')}."
    states = [egg.state for egg in eggs]
    parts = [f"{states.count(EggState.HATCHED)} of {len(eggs) - states.count(EggState.SLUG)} out"]
    for state, word in ((EggState.PIPPING, "pipping"), (EggState.IN_BOX, "whole"), (EggState.FAILED, "given up")):
        if states.count(state):
            parts.append(f"{states.count(state)} {word}")
    return f"{parents}, laid {day_text(brood.on)}, day {day}. {', '.join(parts)}."


def _needs(young: list[YoungRow]) -> str:
    wrong = sum(row.needs for row in young)
    if not wrong:
        return ""
    return f"{count_text(wrong, 'young does', 'young do')} not fit the recorded parents."


def _cell(egg: Egg, young: list[YoungRow], chosen: Egg | None) -> EggCell:
    words = {EggState.HATCHED: "out", EggState.IN_BOX: "whole", EggState.FAILED: "given up"}
    codes = [row.animal.code for row in young if row.animal.egg_number == egg.number]
    detail = ", ".join(codes)
    if egg.state == EggState.PIPPING and egg.pipped_at is not None:
        detail = f"slit {_since(egg.pipped_at)}"
    elif not detail:
        detail = egg.end_reason
    return EggCell(
        egg=egg,
        picture=egg_svg(egg.number, egg.state),
        word=words.get(EggState(egg.state), str(egg.state)),
        detail=detail,
        can_be_chosen=egg.state in {*HATCHABLE, EggState.FAILED, EggState.HATCHED},
        is_chosen=chosen is not None and egg.pk == chosen.pk,
    )


def _since(moment: datetime) -> str:
    hours = (clock.now() - moment) / timedelta(hours=1)
    return f"{hours:.0f} h" if hours >= 1 else f"{hours * 60:.0f} min"


def _reasons(brood: Brood, eggs: list[Egg]) -> list[str]:
    pipped = sorted((egg for egg in eggs if egg.state == EggState.PIPPING and egg.pipped_at), key=_pipped)
    found = []
    if pipped:
        first = pipped[0]
        found.append(f"Egg {first.number} has been slit {_since(_pipped(first))}.")
    days = profile_numbers(brood.species).get("incubation.pip_to_hatch_days")
    if days is not None:
        found.append(f"Up to {days * 24:.0f} h from slit to out is usual (the profile of this species).")
    found.append("A young that stays in its shell still draws on its yolk. When one weakens, ask a veterinarian.")
    return found


def _pipped(egg: Egg) -> datetime:
    assert egg.pipped_at is not None
    return egg.pipped_at


def _look(index: int, look: Look, possible: PossibleYoung, chosen: str) -> LookRow:
    givers = [row.male.code for row in possible.by_sire if row.chance(look.look)]
    only = f"only with {givers[0]}" if len(givers) == 1 < len(possible.by_sire) else ""
    key = str(index + 1) if index < KEYS else ""
    return LookRow(look, key, odds_svg(look.probability), only, look.look == chosen)


def _young(brood: Brood, possible: PossibleYoung) -> list[YoungRow]:
    animals = list(
        Animal.objects.filter(brood=brood).select_related("tub", "sire").order_by("egg_number", "egg_letter")
    )
    ids = [animal.pk for animal in animals]
    weights = latest_weights(ids)
    believed, doubts = sires_believed(ids), doubts_of(ids)
    latest: dict[int, Identification] = {}
    for found in Identification.objects.filter(animal__in=ids).order_by("at", "pk"):
        latest[found.animal_id] = found
    rows = []
    for animal in animals:
        seen = latest.get(animal.pk)
        weight = weights.get(animal.pk)
        # what was believed before this look was seen says nothing of it
        sires = [row for row in believed[animal.pk] if seen is None or row.as_of >= seen.at]
        word, needs = _sire_word(animal, seen, sires)
        doubt = doubts.get(animal.pk)
        mass_g = weight.mass_g if weight else None
        rows.append(YoungRow(animal, seen, mass_g, word, needs or doubt is not None, sires, doubt))
    return rows


def _sire_word(animal: Animal, seen: Identification | None, sires: list[SireBelief]) -> tuple[str, bool]:
    if seen is None:
        return ("not seen yet" if animal.sire is None else animal.sire.code), False
    if seen.probability == 0:
        return "cannot be", True
    if animal.sire is not None:
        return f"{animal.sire.code} fits", False
    if not sires:
        return "not settled", False
    return f"{_name(sires[0])} {percent_text(sires[0].posterior)}", False


def _name(row: SireBelief) -> str:
    return row.male.code if row.male is not None else HYPOTHESES[SireHypothesis(row.hypothesis)]


def _panel(young: list[YoungRow], possible: PossibleYoung, out: str) -> SirePanel | None:
    """Of the young just out, else the first that does not fit, else the first not settled."""
    asked = next((row for row in young if row.animal.ref == out), None)
    open_rows = [row for row in young if row.needs] + [row for row in young if row.animal.sire is None and row.found]
    row = asked or next(iter(open_rows), None)
    if row is None or row.found is None or not possible.by_sire:
        return None
    seen = short_look(row.found.notation or "normal", carrier="normal")
    named = {one.male.pk: one for one in possible.by_sire}
    words = {pk: _chance_word(one.chance(seen)) for pk, one in named.items()}
    rows = [
        SireRow(
            one.male,
            _name(one),
            one.prior,
            one.posterior,
            odds_svg(one.posterior, one.prior),
            words.get(one.male_id or 0, ""),
        )
        for one in row.sires
    ]
    known = {one.male_id for one in row.sires}
    rows += [
        SireRow(one.male, one.male.code, one.prior, None, odds_svg(None, one.prior), words[pk])
        for pk, one in named.items()
        if pk not in known
    ]
    if row.needs:
        title = f"{seen} cannot come from {' or '.join(one.male.code for one in possible.by_sire)}"
    elif row.animal.sire is not None:
        title = f"Sire of {row.animal.code}: {row.animal.sire.code}"
    else:
        title = f"Sire of {row.animal.code} is not settled"
    reasons = [row.found.warning] if row.found.warning else []
    if row.doubt is not None:
        reasons += [f"{one['words']}: {percent_text(one['chance'])}." for one in row.doubt.explanations[:EXPLANATIONS]]
    evidence = row.animal.brood.sire_candidates.order_by("-prior")  # type: ignore[union-attr]
    reasons += [
        f"{named[one.male_id].male.code}: {one.evidence}." for one in evidence if one.evidence and one.male_id in named
    ]
    reasons.append("Sperm keeps for months, and one clutch can have two sires: each young is asked by itself.")
    return SirePanel(row.animal, title, row.needs, rows, bool(row.sires), reasons)


def _chance_word(likelihood: float | None) -> str:
    if likelihood is None:
        return "rare, not listed"
    return "cannot give it" if likelihood == 0 else f"gives it in {percent_text(likelihood)}"


def _expected(possible: PossibleYoung, count: int) -> str:
    if not possible.looks or count < 2:
        return ""
    parts = [f"{look.probability * count:.1f} {look.look}" for look in possible.looks[:3]]
    return f"Expected of {count}: about {', '.join(parts)}."
