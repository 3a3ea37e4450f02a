"""The season board: what is asked of it, its rows, its sentence, its rail."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from apps.animals.models import Species
from apps.breeding.choices import Stage, act_word
from apps.breeding.models import Season
from apps.breeding.pages.rail import rail_svg
from apps.breeding.pages.strips import axis_svg, board_strip, legend_svg, opened_strip
from apps.breeding.pages.words import (
    age_text,
    eggs_words,
    growth_words,
    laid_on,
    stage_words,
    traits_words,
    waiting_words,
)
from apps.breeding.selectors.board import (
    SeasonDetail,
    SeasonLine,
    board_seasons,
    board_species,
    season_details,
    season_lines,
    visit_spans,
)
from apps.breeding.selectors.profiles import SpeciesProfile, season_span, season_year, species_profile
from apps.core import clock
from apps.core.formats import DASH, count_text, grams_text, list_text, number_text

PAGE = 100
ORDERS = {"laying": "Laying date", "stage": "Stage", "growth": "Growth", "rack": "Rack order"}
STAGE_ORDER = (
    Stage.LAID,
    Stage.GRAVID,
    Stage.OVULATED,
    Stage.PREOVULATORY,
    Stage.VITELLOGENIC,
    Stage.GROWTH_IN_DOUBT,
    Stage.REGRESSING,
    Stage.PREVITELLOGENIC,
    Stage.RESTING,
)
FAR = date(9999, 1, 1)
# Days of look.md: eggs within a week need somebody now, the sentence counts two weeks.
EGGS_NOW_DAYS = 7
EGGS_SOON_DAYS = 14


@dataclass(frozen=True)
class BoardQuery:
    """What the address asks for."""

    species: str = ""
    year: str = ""
    order: str = "laying"
    room: str = ""
    stage: str = ""
    act: str = ""
    find: str = ""
    only: str = ""
    page: int = 1
    opened: str = ""

    def url(self, *, row: str = "", **changes: object) -> str:
        """The board's address with some of it changed; what is at its default is left out."""
        changed = replace(self, **changes)  # type: ignore[arg-type]
        pairs = {
            "species": changed.species,
            "year": changed.year,
            "order": "" if changed.order == "laying" else changed.order,
            "room": changed.room,
            "stage": changed.stage,
            "act": changed.act,
            "find": changed.find,
            "only": changed.only,
            "page": "" if changed.page == 1 else str(changed.page),
            "open": changed.opened,
            "row": row,
        }
        query = urlencode({key: value for key, value in pairs.items() if value})
        return f"?{query}" if query else "?"


@dataclass(frozen=True)
class BoardRow:
    """One female on the board."""

    ref: str
    season_ref: str
    code: str
    tub: str
    room: str
    traits: str
    age: str
    weight: str
    strip: str
    stage: str
    stage_words: str
    mm: str
    growth: str
    act: str
    act_words: str
    decided: bool
    eggs: str
    needs: bool
    waiting: str
    open_url: str
    row_url: str
    opened: OpenedRow | None = None


@dataclass(frozen=True)
class OpenedRow:
    """What an opened row says more."""

    strip: str
    because: list[str]
    facts: list[str]
    notes: list[str]
    next_scan: date | None


@dataclass(frozen=True)
class Choice:
    """One option of a filter."""

    value: str
    label: str
    chosen: bool


@dataclass(frozen=True)
class BoardPage:
    """The whole page."""

    query: BoardQuery
    name: str
    species: Species | None
    total: int
    shown: int
    rows: list[BoardRow]
    axis: str
    rail: str
    more_url: str
    more_count: int
    plain_words: str
    needs_words: str
    needs_url: str
    soon_words: str
    legend: str
    orders: list[tuple[str, str, str, bool]]
    species_choices: list[Choice]
    year_choices: list[Choice]
    rooms: list[Choice]
    stages: list[Choice]
    acts: list[Choice]
    first: int = 1
    year: int = 0


def read_query(given: Mapping[str, str]) -> BoardQuery:
    """The address read; what is not understood falls back to the default."""
    page = given.get("page", "")
    order = given.get("order", "laying")
    return BoardQuery(
        species=given.get("species", ""),
        year=given.get("year", "") if given.get("year", "").isdigit() else "",
        order=order if order in ORDERS else "laying",
        room=given.get("room", ""),
        stage=given.get("stage", ""),
        act=given.get("act", ""),
        find=given.get("find", "").strip()[:60],
        only=given.get("only", "") if given.get("only", "") in {"needs", "due"} else "",
        page=max(1, int(page)) if page.isdigit() else 1,
        opened=given.get("open", ""),
    )


def board_page(query: BoardQuery) -> BoardPage:
    """The board as asked for. The number of queries does not grow with the rows."""
    kinds = board_species()
    known = board_seasons()
    species = next((one for one in kinds if one.slug == query.species), None)
    if species is None and known:
        species = next(one for one in kinds if one.pk == known[0][0])
    if species is None:
        return _empty(query)
    profile = species_profile(species)
    today = clock.today()
    years = sorted({year for kind, year, _ in known if kind == species.pk}, reverse=True)
    year = int(query.year) if query.year and int(query.year) in years else _year_now(profile, years, today)
    lines = season_lines(species, year)
    kept = [line for line in lines if _wanted(line, query, profile, today)]
    ordered = sorted(kept, key=_order_key(query.order))
    first = (query.page - 1) * PAGE
    page = ordered[first : first + PAGE]
    details = season_details([line.season_id for line in page], profile)
    rows = [_row(line, details[line.season_id], query, profile, today) for line in page if line.season_id in details]
    left = len(ordered) - first - len(page)
    return BoardPage(
        query=query,
        name=f"{year}/{(year + 1) % 100:02d}",
        species=species,
        total=len(lines),
        shown=len(kept),
        rows=rows,
        axis=axis_svg(profile, year, today),
        rail=_rail(lines, kept, query, profile, year, today) if query.page == 1 else "",
        more_url=query.url(page=query.page + 1, opened="") if left > 0 else "",
        more_count=min(left, PAGE),
        plain_words=_plain_words(lines, kept, query),
        needs_words=_needs_words(lines, profile, today),
        needs_url=query.url(only="needs", page=1, opened=""),
        legend=legend_svg(),
        soon_words=_soon_words(lines, today),
        orders=[(key, label, query.url(order=key, page=1), key == query.order) for key, label in ORDERS.items()],
        species_choices=_choices([(one.slug, one.common) for one in kinds], species.slug),
        year_choices=_choices([(str(y), f"{y}/{(y + 1) % 100:02d}") for y in years], str(year)),
        rooms=_choices(_rooms(lines), query.room),
        stages=_choices(
            [(s.value, s.value) for s in STAGE_ORDER if any(line.stage == s for line in lines)], query.stage
        ),
        acts=_choices(sorted({(line.act, act_word(line.act)) for line in lines if line.act}), query.act),
        first=first + 1,
        year=year,
    )


def board_row(season_ref: str, *, opened: bool, query: BoardQuery) -> BoardRow | None:
    """One row alone, opened or closed again, for a swap in place."""
    season = Season.objects.filter(ref=season_ref).select_related("female__species").first()
    if season is None:
        return None
    profile = species_profile(season.female.species)
    line = next((one for one in season_lines(season.female.species, season.year) if one.season_id == season.pk), None)
    detail = season_details([season.pk], profile).get(season.pk)
    if line is None or detail is None:
        return None
    return _row(line, detail, replace(query, opened=line.ref if opened else ""), profile, clock.today())


def _empty(query: BoardQuery) -> BoardPage:
    return BoardPage(
        query=query,
        name="",
        species=None,
        total=0,
        shown=0,
        rows=[],
        axis="",
        rail="",
        more_url="",
        more_count=0,
        plain_words="",
        needs_words="",
        needs_url="",
        soon_words="",
        legend="",
        orders=[],
        species_choices=[],
        year_choices=[],
        rooms=[],
        stages=[],
        acts=[],
    )


def _year_now(profile: SpeciesProfile, years: list[int], today: date) -> int:
    now = season_year(profile, today)
    return now if now in years else years[0]


def is_over(profile: SpeciesProfile, year: int, stage: str, today: date) -> bool:
    """A past season has no next step, unless its eggs are still to come."""
    return season_span(profile, year)[1] < today and stage not in {Stage.OVULATED, Stage.GRAVID}


def needs_now(line: SeasonLine, profile: SpeciesProfile, today: date) -> bool:
    """Late, about to ovulate, or eggs due within the week: the rows in accent."""
    near = profile.number("strip.near_ovulation_days") or 0
    return line.is_late or line.ovulates_within(near, today) or line.lays_within(EGGS_NOW_DAYS, today)


def _wanted(line: SeasonLine, query: BoardQuery, profile: SpeciesProfile, today: date) -> bool:
    words = query.find.casefold()
    return (
        (not query.room or line.room == query.room)
        and (not query.stage or line.stage == query.stage)
        and (not query.act or line.act == query.act)
        and (not words or words in line.code.casefold() or words in line.traits.casefold())
        and (query.only != "needs" or needs_now(line, profile, today))
        and (query.only != "due" or line.scan_is_due(today))
    )


def _order_key(order: str) -> Callable[[SeasonLine], tuple[Any, ...]]:
    def laying(line: SeasonLine) -> tuple[Any, ...]:
        return (line.laid_on or (line.laying[1] if line.laying else FAR), line.place, line.code)

    if order == "stage":
        rank = {stage.value: place for place, stage in enumerate(STAGE_ORDER)}
        return lambda line: (rank.get(line.stage, len(rank)), *laying(line))
    if order == "growth":
        return lambda line: (-(line.growth if line.growth is not None else -99.0), *laying(line))
    if order == "rack":
        return lambda line: (line.place, line.code)
    return laying


def _row(line: SeasonLine, detail: SeasonDetail, query: BoardQuery, profile: SpeciesProfile, today: date) -> BoardRow:
    scans = [scan for scan in detail.record.scans if not scan.doubtful and _in_season(scan.on, detail, profile)]
    weight = detail.record.weights[-1] if detail.record.weights else None
    needs = needs_now(line, profile, today)
    cycle = detail.cycle
    opened = line.ref == query.opened
    return BoardRow(
        ref=line.ref,
        season_ref=line.season_ref,
        code=line.code,
        tub=line.tub,
        room=line.room,
        traits=traits_words(detail.female),
        age=age_text(detail.female, today),
        weight=grams_text(weight.g if weight else None),
        strip=board_strip(detail, profile, today, needs=needs),
        stage=line.stage,
        stage_words=stage_words(line.stage, line.is_late),
        mm=number_text(scans[-1].mm, 1) if scans else DASH,
        growth=growth_words(detail.forecast),
        act=line.act,
        act_words=DASH
        if not line.act or is_over(profile, detail.season.year, line.stage, today)
        else act_word(line.act),
        decided=line.decided,
        eggs=eggs_words(line.stage, line.laying, laid_on(cycle), line.is_late),
        needs=needs,
        waiting=waiting_words(cycle, today) if line.is_late else "",
        open_url=query.url(opened="" if opened else line.ref),
        row_url=query.url(opened="", row="close" if opened else "open"),
        opened=_opened(detail, profile, today, needs=needs) if opened else None,
    )


def _in_season(on: date, detail: SeasonDetail, profile: SpeciesProfile) -> bool:
    first, last = season_span(profile, detail.season.year)
    return first <= on <= last


def _opened(detail: SeasonDetail, profile: SpeciesProfile, today: date, *, needs: bool) -> OpenedRow:
    record, answer = detail.record, detail.forecast.answer if detail.forecast else {}
    because = list(answer.get("advice", [{}])[0].get("because", [])) if answer else []
    facts = []
    if detail.override is not None:
        by = detail.override.by.name
        because = [f"{by}: {detail.override.reason}. Advised was “{act_word(detail.override.act)}”.", *because]
    left = [meal for meal in record.meals if not meal.eaten]
    eaten = [meal for meal in record.meals if meal.eaten]
    if eaten:
        facts.append(f"Last meal {number_text((today - eaten[-1].on).days)} days ago.")
    if left and (not eaten or left[-1].on > eaten[-1].on):
        since = [meal for meal in left if not eaten or meal.on > eaten[-1].on]
        facts.append(f"Left {count_text(len(since), 'meal')} since.")
    locks = sum(visit.locked for visit in record.visits)
    facts.append(f"{count_text(len(record.visits), 'visit')}, {count_text(locks, 'lock')} this season.")
    return OpenedRow(
        strip=opened_strip(detail, profile, today, needs=needs),
        because=because,
        facts=facts,
        notes=[note[:1].upper() + note[1:] for note in answer.get("notes", [])],
        next_scan=detail.forecast.next_scan_on if detail.forecast else None,
    )


def _rail(
    lines: list[SeasonLine],
    kept: list[SeasonLine],
    query: BoardQuery,
    profile: SpeciesProfile,
    year: int,
    today: date,
) -> str:
    inside = {line.season_id for line in kept}
    everyone = sorted(lines, key=_order_key(query.order))
    position = {line.season_id: place for place, line in enumerate(sorted(kept, key=_order_key(query.order)))}
    links = {
        line.season_id: f"{query.url(page=position[line.season_id] // PAGE + 1, opened='')}#f-{line.ref}"
        for line in kept
    }
    return rail_svg(
        everyone, inside, links, visit_spans(year, [line.season_id for line in lines]), profile, year, today
    )


def _plain_words(lines: list[SeasonLine], kept: list[SeasonLine], query: BoardQuery) -> str:
    if len(kept) == len(lines):
        return count_text(len(lines), "female")
    chosen = [word for word in (query.room, query.stage, act_word(query.act) if query.act else "") if word]
    if query.only == "needs":
        chosen.append("need you now")
    if query.only == "due":
        chosen.append("due a scan")
    if query.find:
        chosen.append(f"“{query.find}”")
    return f"{len(kept)} of {count_text(len(lines), 'female')}: {list_text(chosen)}"


def _needs_words(lines: list[SeasonLine], profile: SpeciesProfile, today: date) -> str:
    near = profile.number("strip.near_ovulation_days") or 0
    late = sum(line.is_late for line in lines)
    ovulating = sum(line.ovulates_within(near, today) for line in lines)
    found = []
    if late:
        found.append(f"{late} {'is' if late == 1 else 'are'} late with {'her' if late == 1 else 'their'} eggs")
    if ovulating:
        found.append(f"{ovulating} {'is' if ovulating == 1 else 'are'} about to ovulate")
    return ", ".join(found)


def _soon_words(lines: list[SeasonLine], today: date) -> str:
    laying = sum(line.lays_within(EGGS_SOON_DAYS, today) and not line.is_late for line in lines)
    due = sum(line.scan_is_due(today) for line in lines)
    found = []
    if laying:
        found.append(f"{laying} {'lays' if laying == 1 else 'lay'} within two weeks")
    if due:
        found.append(f"{due} {'is' if due == 1 else 'are'} due a scan")
    return ", ".join(found)


def _rooms(lines: list[SeasonLine]) -> list[tuple[str, str]]:
    found: dict[str, tuple[int, ...]] = {}
    for line in lines:
        if line.room:
            found[line.room] = min(found.get(line.room, line.place), line.place)
    return [(room, room) for room in sorted(found, key=lambda room: found[room])]


def _choices(pairs: list[tuple[str, str]], chosen: str) -> list[Choice]:
    return [Choice(value, label, value == chosen) for value, label in pairs]
