"""The week of the rota: males down, days across, why on each cell; pins and vetoes; the gap in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.animals.choices import Sex
from apps.animals.models import Animal, Species
from apps.animals.selectors import lineage_fault
from apps.breeding.choices import WishKind
from apps.breeding.models import Rota, RotaLine, RotaWish, Visit
from apps.breeding.selectors.profiles import SpeciesProfile, species_profile
from apps.breeding.selectors.rota import current_rota, rota_horizon, rota_lines, rota_wishes, week_start
from apps.breeding.selectors.rota_animals import WEEK, Planned, rota_males
from apps.breeding.selectors.seasons import live_visits
from apps.core import clock
from apps.core.formats import count_text, day_text, number_text

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True)
class Cell:
    """Some days of one male's week: a visit planned, or nothing. `span` in days."""

    span: int
    day: str = ""
    line: RotaLine | None = None
    begun: bool = False
    may_begin: bool = False
    carried: bool = False


@dataclass(frozen=True)
class MaleLine:
    """One male's week. `work` counts the weeks with a visit among the last three."""

    male: Animal
    now: str
    place: str
    weights: str
    loss: str
    is_worn: bool
    work: str
    rests: str
    cells: list[Cell]
    visits: int


@dataclass(frozen=True)
class WishLine:
    """A pin or a veto in force."""

    wish: RotaWish
    words: str


@dataclass(frozen=True)
class RotaPage:
    """The whole page. `fault` says why nothing can be planned: the recorded lineage cannot be."""

    species: Species
    rota: Rota | None
    week: date
    days: list[tuple[str, str, bool]]
    males: list[MaleLine]
    resting: list[MaleLine]
    idle: list[dict[str, object]]
    left_out: list[dict[str, str]]
    refused: list[dict[str, str]]
    wishes: list[WishLine]
    words: str
    gap_words: str
    fault: str
    weeks: list[tuple[date, str, bool]]
    may_edit: bool
    may_begin: bool
    codes: list[str] = field(default_factory=list)


def rota_page(person: Person, species: Species, week: date | None) -> RotaPage:
    """One week of the rota that stands. A fixed number of queries."""
    profile = species_profile(species)
    rota = current_rota(species)
    first = week_start(clock.today())
    horizon = rota.weeks if rota is not None else rota_horizon(profile)
    start = first if rota is None else rota.first_day
    shown = week_start(week) if week is not None else first
    lines = list(rota_lines(rota)) if rota is not None else []
    males = rota_males(species, profile, first, 1)
    rows = _male_lines(person, males, lines, shown, profile)
    notes = rota.notes if rota is not None else {}
    visits = sum(row.visits for row in rows)
    busy = sum(row.visits > 0 for row in rows)
    return RotaPage(
        species=species,
        rota=rota,
        week=shown,
        days=[
            (name, day_text(shown + timedelta(days=number)), shown + timedelta(days=number) == clock.today())
            for number, name in enumerate(DAYS)
        ],
        males=[row for row in rows if row.visits or not row.rests],
        resting=[row for row in rows if row.rests and not row.visits],
        idle=[row for row in notes.get("idle", []) if row["sex"] == Sex.FEMALE],
        left_out=notes.get("left_out", []),
        refused=notes.get("refused", []),
        wishes=[WishLine(wish, _wish_words(wish)) for wish in rota_wishes(species)],
        words=_words(rota, shown, visits, busy),
        gap_words="" if rota is None else _gap_words(rota),
        fault=lineage_fault(species),
        weeks=[
            (start + number * WEEK, day_text(start + number * WEEK), start + number * WEEK == shown)
            for number in range(horizon)
        ],
        may_edit=may(person, Permission.SEASONS_EDIT),
        may_begin=may(person, Permission.VISITS_RECORD),
    )


def _male_lines(
    person: Person, males: list[Planned], lines: list[RotaLine], week: date, profile: SpeciesProfile
) -> list[MaleLine]:
    stay = int(profile.number("gate.visit_days") or 1)
    warn = profile.number("gate.male_weight_loss_warn_pct")
    live = {visit.male_id: visit for visit in live_visits()}
    by_male: dict[int, list[RotaLine]] = {}
    for line in lines:
        by_male.setdefault(line.male_id, []).append(line)
    begins = may(person, Permission.VISITS_RECORD)
    found = []
    for one in males:
        own = by_male.get(one.animal.pk, [])
        cells = _cells(own, week, stay, begins)
        visit = live.get(one.animal.pk)
        found.append(
            MaleLine(
                male=one.animal,
                now=_now(visit),
                place=one.animal.tub.label if one.animal.tub is not None else "",
                weights=one.weights,
                loss=f"{number_text(one.loss_pct, 1)} % lost" if one.loss_pct > 0 else "at his heaviest",
                is_worn=warn is not None and one.loss_pct >= warn,
                work=f"{sum(one.worked)} of the last 3 weeks worked",
                rests=" ".join(one.why),
                cells=cells,
                visits=sum(cell.line is not None and not cell.carried for cell in cells),
            )
        )
    return found


def _now(visit: Visit | None) -> str:
    if visit is None:
        return "alone"
    return f"with {visit.female.code} since {day_text(clock.day_of(visit.began_at))}"


def _cells(lines: list[RotaLine], week: date, stay: int, begins: bool) -> list[Cell]:
    """Seven days as cells; a visit spans the days it usually takes, cut at the week's end and carried over."""
    cells: list[Cell] = []
    day = 0
    starts = {(line.on - week).days: line for line in lines}
    before = max((start for start in starts if start < 0), default=None)
    if before is not None and before + stay > 0:
        over = before + stay
        cells.append(Cell(over, DAYS[0], starts[before], carried=True))
        day = over
    while day < 7:
        line = starts.get(day)
        span = 1 if line is None else min(stay, 7 - day)
        begun = line is not None and line.visit_id is not None
        ripe = line is not None and not begun and line.on <= clock.today()
        cells.append(Cell(span, DAYS[day], line, begun=begun, may_begin=ripe and begins))
        day += span
    return cells


def _words(rota: Rota | None, week: date, visits: int, busy: int) -> str:
    if rota is None:
        return "No rota yet. It needs breeding males and females with a forecast; plan it when there are any."
    return f"Week of {day_text(week)}: {count_text(visits, 'visit')} by {count_text(busy, 'male')}."


def _gap_words(rota: Rota) -> str:
    worth = number_text(rota.value, 0 if rota.value >= 10 else 1)
    unit = "young" if rota.unit == "young" else rota.unit
    words = [f"All {count_text(rota.weeks, 'week')} together are worth about {worth} {unit}"]
    if rota.unit == "young":
        words[0] += " (no trait values are set: every young counts 1)"
    if rota.is_optimal:
        words.append("no other plan of these weeks is worth more")
    else:
        words.append(f"no other plan can be worth more than {number_text(100 * rota.gap, 1)} % above that")
    if rota.greedy_value > 0 and rota.value > rota.greedy_value:
        better = 100 * (rota.value / rota.greedy_value - 1)
        words.append(f"filling the best visit first would be worth {number_text(better, 1)} % less")
    apart, met = rota.notes.get("apart", 0), rota.notes.get("met", 0)
    if apart:
        words.append(
            f"{count_text(apart, 'pair')} of {count_text(apart + met, 'pair')} "
            "are kept apart by kinship, welfare, health groups or vetoes"
        )
    return "; ".join(words) + "."


def _wish_words(wish: RotaWish) -> str:
    when = "in any week" if wish.week_of is None else f"in the week of {day_text(wish.week_of)}"
    what = "pinned" if wish.kind == WishKind.PIN else "vetoed"
    return f"{what} {when}: {wish.reason} ({wish.by.name}, {day_text(clock.day_of(wish.at))})"
