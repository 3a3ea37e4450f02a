"""Facts made ready for the model: what is known by the day, which cycle, which readings, which diameters to ask for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from .facts import Scan, SeasonFacts
from .filtering import Track
from .profile import FollicleProfile
from .readings import decline
from .season import Cycle, cycle_of, used_scans
from .words import percent

_LISTS = ("scans", "visits", "meals", "weights", "condition")
_DAYS = ("ovulated_on", "pre_lay_shed_on", "laid_on", "last_laid_on", "regurgitated_on", "regressed_on")


@dataclass(frozen=True, slots=True)
class Prepared:
    """One female, ready to be filtered."""

    facts: SeasonFacts
    cycle: Cycle
    scans: tuple[Scan, ...]
    notes: tuple[str, ...]
    visited: bool
    ovulated: bool
    regressed: bool
    track: Track
    shown_targets: tuple[float, ...]
    line_targets: tuple[float, ...]

    @property
    def targets(self) -> tuple[float, ...]:
        """Every diameter whose passage is computed."""
        return tuple(dict.fromkeys((*self.shown_targets, *self.line_targets)))


def prepare(facts: SeasonFacts, profile: FollicleProfile, as_of: date) -> Prepared:
    """Leave out what is later than `as_of`, choose the cycle and its readings, and lay them on the day axis."""
    known, dropped = strip_future(facts, as_of)
    notes = [f"{dropped} {'fact' if dropped == 1 else 'facts'} after the day asked about ignored"] if dropped else []
    cycle = cycle_of(known, as_of, profile)
    scans, scan_notes = used_scans(known, cycle, as_of, profile)
    ovulated = known.ovulated_on is not None or known.pre_lay_shed_on is not None or known.laid_on is not None
    called = known.regressed_on is not None and known.regressed_on >= cycle.begins
    shown = tuple(sorted({profile.scan_dominant_mm, *known.reach_mm}))
    return Prepared(
        facts=known if called or known.regressed_on is None else replace(known, regressed_on=None),
        cycle=cycle,
        scans=scans,
        notes=(*notes, *scan_notes),
        visited=any(cycle.begins <= visit.on for visit in known.visits),
        ovulated=ovulated,
        regressed=not ovulated and called,
        track=Track(
            begins=(cycle.begins - cycle.origin).days,
            days=tuple((scan.on - cycle.origin).days for scan in scans),
            mm=tuple(scan.mm for scan in scans),
            as_of=(as_of - cycle.origin).days,
        ),
        shown_targets=shown,
        line_targets=(profile.lines_pair_in_earnest_mm, profile.lines_appetite_mm, profile.lines_stop_mm),
    )


def judged(item: Prepared, slips: Sequence[float], profile: FollicleProfile) -> Prepared:
    """The same with only the readings that can be believed; regression is stated on those alone.

    A reading more likely a slip of the fingers than not is set aside, unless the next reading says the same.
    """
    kept: list[Scan] = []
    notes: list[str] = []
    for index, (scan, slip) in enumerate(zip(item.scans, slips, strict=True)):
        following = item.scans[index + 1 : index + 2]
        confirmed = any(abs(later.mm - scan.mm) <= profile.advice_smaller_mm for later in following)
        if slip < profile.advice_past_line_probability or confirmed:
            kept.append(scan)
        else:
            notes.append(
                f"{scan.mm:g} mm on {scan.on.isoformat()} does not fit her course: a slip with {percent(slip)}"
            )
    fall = decline(kept, profile)
    stated = not item.ovulated and fall is not None and fall.stated
    return replace(item, scans=tuple(kept), notes=(*item.notes, *notes), regressed=item.regressed or stated)


def strip_future(facts: SeasonFacts, as_of: date) -> tuple[SeasonFacts, int]:
    """The facts up to `as_of`, and how many later ones were left out."""
    later = any(fact.on > as_of for name in _LISTS for fact in getattr(facts, name))
    if not later and not any((on := getattr(facts, name)) is not None and on > as_of for name in _DAYS):
        return facts, 0
    scans = tuple(fact for fact in facts.scans if fact.on <= as_of)
    visits = tuple(fact for fact in facts.visits if fact.on <= as_of)
    meals = tuple(fact for fact in facts.meals if fact.on <= as_of)
    weights = tuple(fact for fact in facts.weights if fact.on <= as_of)
    condition = tuple(fact for fact in facts.condition if fact.on <= as_of)
    late = {name for name in _DAYS if (on := getattr(facts, name)) is not None and on > as_of}
    kept = replace(
        facts,
        scans=scans,
        visits=visits,
        meals=meals,
        weights=weights,
        condition=condition,
        ovulated_on=_unless(late, "ovulated_on", facts.ovulated_on),
        pre_lay_shed_on=_unless(late, "pre_lay_shed_on", facts.pre_lay_shed_on),
        laid_on=_unless(late, "laid_on", facts.laid_on),
        last_laid_on=_unless(late, "last_laid_on", facts.last_laid_on),
        regurgitated_on=_unless(late, "regurgitated_on", facts.regurgitated_on),
        regressed_on=_unless(late, "regressed_on", facts.regressed_on),
    )
    before = sum(len(getattr(facts, name)) for name in _LISTS)
    after = sum(len(getattr(kept, name)) for name in _LISTS)
    return kept, before - after + len(late)


def _unless(late: set[str], name: str, on: date | None) -> date | None:
    return None if name in late else on
