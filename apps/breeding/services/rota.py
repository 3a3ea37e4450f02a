"""The rota: planned from the facts, checked, stored; pins, vetoes, publishing; a planned visit begun."""

from __future__ import annotations

import time
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import structlog
from django.db import IntegrityError, transaction

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.animals.choices import Sex
from apps.animals.errors import LineageFaulty
from apps.animals.models import Animal, Species
from apps.animals.selectors import lineage_fault
from apps.breeding.choices import SeasonState, WishKind
from apps.breeding.errors import RotaFaulty, WishRefused
from apps.breeding.events import RotaWished
from apps.breeding.models import Rota, RotaLine, RotaWish, Visit
from apps.breeding.selectors.rota import RotaQuestion, current_rota, rota_question, week_start
from apps.breeding.selectors.rota_animals import WEEK, Planned
from apps.breeding.services.rota_words import line_words, not_planned
from apps.breeding.services.visits import visit_begin
from apps.core import clock
from apps.core.errors import Duplicate, Invalid, WrongState
from apps.core.formats import day_text
from apps.core.turns import take_turn
from apps.engines import rota as engine
from apps.jobs.services import event_publish

log = structlog.get_logger("breeding")

# How long the solver may take (seconds): a person waits for the first, the nightly job for the second.
PERSON_SECONDS, JOB_SECONDS = 6.0, 60.0


@service("rota.plan", may=Permission.SEASONS_EDIT)
def rota_plan(*, by: Person, species: Species, seconds: float = PERSON_SECONDS, request_key: str | None = None) -> Rota:
    """Plan the coming weeks anew. Unchanged facts write nothing and give the rota that stands.

    Raises WrongState for a species without rota numbers, LineageFaulty when kinship cannot be told, RotaFaulty when
    the checker finds a broken rule.
    """
    take_turn(f"rota:{species.pk}")
    question = rota_question(species)
    if question is None:
        raise WrongState(f"{species} has no numbers for a rota: give it a follicle profile and rota numbers first.")
    before = current_rota(species)
    if before is not None and before.input_hash == question.input_hash:
        return before
    began = time.monotonic()
    found = engine.plan_rota(
        question.problem,
        seconds=seconds,
        start_prices=_start_prices(before, question),
        incumbent=_incumbent(before, question),
    )
    faults = engine.rota_faults(question.problem, found.visits, [refusal.pin for refusal in found.refused])
    if faults:
        log.error("rota faulty", species=species.slug, faults=faults[:5])
        raise RotaFaulty(f"The plan broke a rule and was not kept: {faults[0]}. The rota before it stands.")
    rota = _store(by, question, found, before)
    audit_write(
        by=by,
        act="rota.plan",
        subject=rota,
        detail={"visits": len(found.visits), "gap": round(found.gap, 5), "s": round(time.monotonic() - began, 1)},
    )
    return rota


@service("rota.publish", may=Permission.SEASONS_EDIT)
def rota_publish(*, by: Person, rota: Rota, request_key: str | None = None) -> Rota:
    """Make the current plan the one that keepers work from.

    Raises WrongState when a newer plan stands or it is out, LineageFaulty while kinship cannot be told.
    """
    fault = lineage_fault(rota.species)
    if fault:
        raise LineageFaulty(f"Not published. {fault}")
    changed = Rota.objects.filter(pk=rota.pk, is_current=True, published_at__isnull=True).update(
        published_at=clock.now(), published_by=by
    )
    if changed != 1:
        rota.refresh_from_db()
        if rota.published_at is not None:
            raise WrongState("This rota is published already.")
        raise WrongState("A newer plan stands. Reload and look at it before you publish.")
    rota.refresh_from_db()
    audit_write(by=by, act="rota.publish", subject=rota)
    return rota


@service("rota.pin", may=Permission.SEASONS_EDIT)
def rota_pin(
    *, by: Person, female: Animal, male: Animal, week_of: date, reason: str, request_key: str | None = None
) -> RotaWish:
    """Ask that this visit be planned in that week.

    Raises Invalid naming ``female``, ``male``, ``week_of`` or ``reason``; WishRefused with the rule that forbids it;
    LineageFaulty while kinship cannot be told; Duplicate when she is pinned in that week already.
    """
    return _wish(by, WishKind.PIN, female, male, week_of, reason)


@service("rota.veto", may=Permission.SEASONS_EDIT)
def rota_veto(
    *,
    by: Person,
    female: Animal,
    male: Animal,
    reason: str,
    week_of: date | None = None,
    request_key: str | None = None,
) -> RotaWish:
    """Ask that these two be not planned, in one week or at all. Raises Invalid naming the field, Duplicate."""
    return _wish(by, WishKind.VETO, female, male, week_of, reason)


@service("rota.withdraw-wish", may=Permission.SEASONS_EDIT)
def rota_wish_withdraw(*, by: Person, wish: RotaWish, request_key: str | None = None) -> RotaWish:
    """Take a pin or a veto back. Raises WrongState when it is withdrawn already."""
    changed = RotaWish.objects.filter(pk=wish.pk, withdrawn_at__isnull=True).update(
        withdrawn_at=clock.now(), withdrawn_by=by
    )
    if changed != 1:
        raise WrongState("It is withdrawn already.")
    wish.refresh_from_db()
    event_publish(RotaWished(species_ref=wish.female.species.ref))
    audit_write(by=by, act="rota.withdraw-wish", subject=wish)
    return wish


@service("rota.begin-visit", may=Permission.VISITS_RECORD)
def rota_visit_begin(
    *, by: Person, line: RotaLine, began_at: datetime | None = None, request_key: str | None = None
) -> Visit:
    """The planned visit begins. The gate is asked as for every visit; what it says stands on the visit.

    Raises WrongState when the line began already, and what ``visit_begin`` raises.
    """
    line = RotaLine.objects.select_related("female__species", "male__species", "rota").get(pk=line.pk)
    if line.visit_id is not None:
        raise WrongState("This visit began already.")
    visit = visit_begin(by=by, female=line.female, male=line.male, began_at=began_at)
    changed = RotaLine.objects.filter(pk=line.pk, visit__isnull=True).update(visit=visit)
    if changed != 1:
        raise WrongState("This visit began already.")
    audit_write(by=by, act="rota.begin-visit", subject=line.rota, detail={"line": line.ref, "visit": visit.ref})
    return visit


def rotas_plan_all(*, by: Person, seconds: float = JOB_SECONDS) -> str:
    """Plan every species that has females in season; one line on what changed."""
    said = []
    kinds = Species.objects.filter(has_profile=True, animals__via_breeding_seasons__state=SeasonState.OPEN)
    for species in kinds.distinct().order_by("scientific"):
        before = current_rota(species)
        try:
            with transaction.atomic():
                rota = rota_plan(by=by, species=species, seconds=seconds)
        except (WrongState, engine.DeadlineExceeded) as error:
            said.append(f"{species.common}: {error}")
            continue
        new = before is None or before.pk != rota.pk
        said.append(f"{species.common}: {rota.lines.count()} visits, {'planned anew' if new else 'unchanged'}")
    return "; ".join(said) or "no species with females in season"


def _wish(by: Person, kind: WishKind, female: Animal, male: Animal, week_of: date | None, reason: str) -> RotaWish:
    reason = reason.strip()
    if female.sex != Sex.FEMALE:
        raise Invalid(f"{female.code} is recorded as {female.sex}, not as a female.", field="female")
    if male.sex != Sex.MALE:
        raise Invalid(f"{male.code} is recorded as {male.sex}, not as a male.", field="male")
    if female.species_id != male.species_id:
        raise Invalid(f"They are of two species: {female.species} and {male.species}.", field="male")
    if not reason:
        raise Invalid("Say why.", field="reason")
    week = None if week_of is None else week_start(week_of)
    if week is not None and week < week_start(clock.today()):
        raise Invalid(f"The week of {day_text(week)} is over. Choose this week or a later one.", field="week_of")
    standing = RotaWish.objects.filter(female=female, week_of=week, withdrawn_at__isnull=True, kind=kind)
    if kind is WishKind.VETO:
        standing = standing.filter(male=male)
    if standing.exists():
        words = "pinned in that week" if kind is WishKind.PIN else "vetoed"
        raise Duplicate(f"{female.code} is {words} already. Withdraw that first.", field="female")
    if kind is WishKind.PIN:
        _check_pin(female, male, week)
    try:
        with transaction.atomic():
            wish = RotaWish.objects.create(
                kind=kind, female=female, male=male, week_of=week, reason=reason[:160], at=clock.now(), by=by
            )
    except IntegrityError as error:
        raise Duplicate(f"{female.code} is pinned in that week already.", field="female") from error
    event_publish(RotaWished(species_ref=female.species.ref))
    audit_write(by=by, act=f"rota.{kind.value}", subject=wish, detail={"week_of": week, "reason": reason[:160]})
    return wish


def _check_pin(female: Animal, male: Animal, week: date | None) -> None:
    """Raises WishRefused with every reason why the rota could not keep it."""
    question = rota_question(female.species)
    if question is None or week is None:
        raise WishRefused(f"{female.species} has no numbers for a rota.", field="female")
    number = (week - question.first_day) // WEEK
    if not 0 <= number < question.problem.weeks:
        last = question.first_day + WEEK * (question.problem.weeks - 1)
        raise Invalid(f"The rota reaches to the week of {day_text(last)}.", field="week_of")
    every = {one.animal.pk: one for one in (*question.females, *question.males, *question.idle)}
    reasons = []
    for animal in (female, male):
        one = every.get(animal.pk)
        if one is None:
            reasons.append(f"{animal.code}: not among the breeding animals that are here.")
        elif not one.open_weeks[number]:
            reasons += [f"{animal.code}: {why}" for why in _why(one)]
    pair = question.blocked.get((female.pk, male.pk))
    if pair:
        reasons.append(f"{female.code} with {male.code}: {pair}.")
    if reasons:
        raise WishRefused(" ".join(_stop(reason) for reason in reasons), field="male")


def _why(one: Planned) -> list[str]:
    return one.why or ["not open in that week"]


def _stop(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _incumbent(before: Rota | None, question: RotaQuestion) -> tuple[engine.Visit, ...]:
    """What the rota before planned from now on, by the places of the new question."""
    if before is None:
        return ()
    hers = {one.animal.pk: row for row, one in enumerate(question.females)}
    his = {one.animal.pk: row for row, one in enumerate(question.males)}
    found = []
    for female, male, on in before.lines.filter(visit__isnull=True, on__gte=clock.today()).values_list(
        "female_id", "male_id", "on"
    ):
        week = (on - question.first_day) // WEEK
        if female in hers and male in his and 0 <= week < question.problem.weeks:
            found.append(engine.Visit(hers[female], his[male], week))
    return tuple(found)


def _start_prices(before: Rota | None, question: RotaQuestion) -> Any:
    """The prices of the rota before, moved on to the weeks of this one; the last week is repeated."""
    if before is None or not before.prices:
        return None
    old = np.asarray(before.prices, dtype=np.float64)
    shift = (question.first_day - before.first_day) // WEEK
    if old.ndim != 2 or not 0 <= shift < old.shape[1]:
        return None
    rows = {ref: row for row, ref in enumerate(before.males)}
    found = np.zeros((question.problem.males, question.problem.weeks))
    for place, one in enumerate(question.males):
        row = rows.get(one.animal.ref)
        if row is not None:
            moved = old[row, shift:]
            found[place] = np.append(moved, np.repeat(moved[-1], found.shape[1]))[: found.shape[1]]
    return found


def _store(by: Person, question: RotaQuestion, found: engine.Rota, before: Rota | None) -> Rota:
    Rota.objects.filter(species=question.species, is_current=True).update(is_current=False)
    rota = Rota.objects.create(
        species=question.species,
        first_day=question.first_day,
        weeks=question.problem.weeks,
        made_at=clock.now(),
        made_by=by,
        engine_version=found.engine_version,
        input_hash=question.input_hash,
        value=max(0.0, found.value),
        bound=max(0.0, found.bound),
        gap=min(1.0, max(0.0, found.gap)),
        greedy_value=found.greedy_value,
        unit=question.unit,
        is_optimal=found.is_optimal,
        males=[one.animal.ref for one in question.males],
        prices=[[round(float(price), 6) for price in row] for row in found.prices],
        notes=not_planned(question, found),
    )
    pinned = {(pin.female, pin.male, pin.week) for pin in question.problem.pins}
    RotaLine.objects.bulk_create(
        RotaLine(
            rota=rota,
            female=question.females[visit.female].animal,
            male=question.males[visit.male].animal,
            on=question.first_day + timedelta(days=7 * visit.week + visit.day),
            is_pinned=(visit.female, visit.male, visit.week) in pinned,
            worth=reason.worth,
            because=line_words(question, visit, reason),
        )
        for visit, reason in zip(found.visits, found.reasons, strict=True)
    )
    return rota
