"""What to do next: the acts in order of precedence, each with its figures. The first that applies leads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta

from apps.engines.words import day

from .answer import Advice, DateInterval
from .facts import Meal, Scan, Visit, Weight
from .gate import VET_HOLDS, latest_weight, own_gain_g_per_week, recent_weights
from .picture import Picture
from .readings import locks_since
from .words import count, grams, percent, window

Rule = Callable[[Picture], Advice | None]
Reason = tuple[str, tuple[str, ...]]  # a sentence, and the rows it rests on


def _said(
    act: str,
    reasons: Sequence[Reason],
    *,
    gap_g: float | None = None,
    by: DateInterval | None = None,
    ceiling_g: float | None = None,
) -> Advice:
    """An act with its reasons, each beside the rows it rests on."""
    return Advice(
        act,
        because=tuple(sentence for sentence, _ in reasons),
        fact_refs=tuple(dict.fromkeys(ref for _, refs in reasons for ref in refs)),
        rests_on=tuple(refs for _, refs in reasons),
        gap_g=gap_g,
        by=by,
        ceiling_g=ceiling_g,
    )


def _rule(sentence: str) -> Reason:
    """A sentence that states a rule or a day of the calendar, and rests on no row."""
    return sentence, ()


def advise(p: Picture) -> tuple[Advice, ...]:
    """All acts that apply, in order; never empty. No act asks for a visit unless the gate is open."""
    found = [advice for rule in _rules(p) if (advice := rule(p)) is not None]
    return tuple(found) if found else (_wait(p),)


def _rules(p: Picture) -> tuple[Rule, ...]:
    # With visits open, stopping them is the thing to do; without, looking for ovulation is.
    past_stop: tuple[Rule, Rule] = (_stop_pairing, _expect_ovulation)
    if not p.visits:
        past_stop = (_expect_ovulation, _stop_pairing)
    return (
        _see_vet,
        _expect_eggs,
        _expect_shed,
        *past_stop,
        _scan_again,
        _rest,
        _weigh_and_feed,
        _pause_pairing,
        _feed_up,
        _begin_pairing,
        _in_earnest,
        _expect_fasting,
    )


def _see_vet(p: Picture) -> Advice | None:
    because: list[Reason] = []
    if p.facts.straining:
        because.append(("She strains: call the veterinarian now; do not press or pull.", p.facts.refs_of("straining")))
    because += [
        (f"Hold: {VET_HOLDS[word]}; a veterinarian decides.", p.facts.refs_of(word))
        for word in p.facts.holds
        if word in VET_HOLDS
    ]
    if p.mass_alarm is not None:
        because.append((p.mass_alarm.sentence, p.mass_alarm.refs))
    if p.late is not None:
        ends, days, whose = p.late
        what = "birth" if p.profile.live_bearing else "eggs"
        sentence = f"No {what} {count(days, 'day', 'days')} past {whose}, which ended on {day(ends)}."
        because.append((sentence, _base_refs(p)))
        if days > p.profile.timing_late_urgent_days:
            because.append(_rule("Call the veterinarian today; at once if she strains or weakens."))
        else:
            because.append(_rule("Ask the veterinarian; call at once if she strains or weakens."))
    return _said("see_vet", because) if because else None


def _base_refs(p: Picture) -> tuple[str, ...]:
    """The row from which eggs are waited for."""
    return p.facts.refs_of("pre_lay_shed_on" if p.facts.pre_lay_shed_on is not None else "ovulated_on")


def _expect_eggs(p: Picture) -> Advice | None:
    if p.laid or not p.ovulated or p.eggs is None:
        return None
    if p.facts.pre_lay_shed_on is None and p.shed is not None:
        return None
    since = (
        f"Shed on {day(p.facts.pre_lay_shed_on)}."
        if p.facts.pre_lay_shed_on is not None
        else f"Ovulated on {day(p.facts.ovulated_on or p.as_of)}."
    )
    what = "Birth" if p.profile.live_bearing else "Eggs"
    refs = _base_refs(p)
    return _said("expect_eggs", [(since, refs), (f"{what} {window(p.eggs)} (80 %).", refs)])


def _expect_shed(p: Picture) -> Advice | None:
    if p.laid or p.facts.ovulated_on is None or p.facts.pre_lay_shed_on is not None or p.shed is None:
        return None
    refs = p.facts.refs_of("ovulated_on")
    sentences = (f"Ovulated on {day(p.facts.ovulated_on)}.", f"Shed {window(p.shed)} (80 %).")
    return _said("expect_shed", [(sentence, refs) for sentence in sentences])


def _line_sentences(p: Picture) -> list[Reason]:
    stop = p.profile.lines_stop_mm
    chance = f"Past {stop:g} mm with {percent(p.chances.stop)}; the line to stop is a house rule."
    return [*_size_sentences(p), (chance, _all_scans(p))]


def _size_sentences(p: Picture) -> list[Reason]:
    found: list[Reason] = []
    if p.scans:
        last = p.scans[-1]
        found.append((f"{last.mm:g} mm on {day(last.on)}.", _refs([last])))
    if p.mm_now is not None:
        now = p.mm_now
        found.append((f"Now about {now.p50:.1f} mm ({now.p10:.1f} to {now.p90:.1f}, 80 %).", _all_scans(p)))
    return found


def _refs(rows: Iterable[Scan | Visit | Meal | Weight]) -> tuple[str, ...]:
    return tuple(row.ref for row in rows if row.ref)


def _all_scans(p: Picture) -> tuple[str, ...]:
    """What the model says rests on every reading it used."""
    return _refs(p.scans)


def _expect_ovulation(p: Picture) -> Advice | None:
    if not p.past_stop or p.regressed:
        return None
    because = _line_sentences(p)
    if p.ovulation is not None:
        because.append((f"Ovulation {window(p.ovulation)} (80 %, if she ovulates).", _all_scans(p)))
    return _said("expect_ovulation", [*because, *_unseen_sentences(p)])


def _unseen_sentences(p: Picture) -> list[Reason]:
    if p.unseen is None or p.chances.unseen < p.profile.advice_unsure_low_probability:
        return []
    chance = percent(p.chances.unseen)
    sentence = f"She may have ovulated unseen since {day(p.unseen.p10)} with {chance}: {window(p.unseen)} (80 %)."
    return [(sentence, _all_scans(p))]


def _stop_pairing(p: Picture) -> Advice | None:
    if not p.past_stop or p.regressed:
        return None
    locks = sum(visit.locked for visit in p.visits)
    seen = f"{count(len(p.visits), 'visit', 'visits')} this season, {count(locks, 'lock', 'locks')}."
    return _said("stop_pairing", [*_line_sentences(p), (seen, _refs(p.visits))])


def _last_doubtful(p: Picture) -> Scan | None:
    known = [s for s in p.facts.scans if p.cycle.begins <= s.on <= p.as_of]
    last = max(known, key=lambda scan: scan.on, default=None)
    return last if last is not None and last not in p.scans else None


def _scan_again(p: Picture) -> Advice | None:
    if p.ovulated or p.regressed:
        return None
    profile = p.profile
    because: list[Reason] = []
    doubtful = _last_doubtful(p)
    if doubtful is not None:
        because.append((f"The reading of {doubtful.mm:g} mm on {day(doubtful.on)} is in doubt.", _refs([doubtful])))
    if p.decline is not None:
        apart = profile.advice_regression_min_days
        because.append((f"Growth in doubt: {p.decline.sentence}", p.decline.refs))
        because.append(_rule(f"Regression is stated only on two smaller readings at least {apart:g} days apart."))
    low, high = profile.advice_unsure_low_probability, profile.advice_unsure_high_probability
    if not p.scans and p.unscanned_stop >= low and p.season_open:
        chance = percent(p.unscanned_stop)
        because.append(
            _rule(f"No reading this cycle; by the season alone past {profile.lines_stop_mm:g} mm with {chance}.")
        )
    if low <= p.chances.stop <= high:
        sentence = f"Past the stop line of {profile.lines_stop_mm:g} mm with {percent(p.chances.stop)}: unsure."
        because.append((sentence, _all_scans(p)))
    if p.decline is None and len(p.scans) > 1 and p.chances.regressing >= low:
        sentence = f"Regressing with {percent(p.chances.regressing)}, on no second smaller reading: unsure."
        because.append((sentence, _all_scans(p)))
    because += _unseen_sentences(p)
    if not because:
        return None
    because.append(_rule(f"Scan again by {day(p.as_of + timedelta(days=profile.advice_again_within_days))}."))
    return _said("scan_again", [*because, *_fed(p, "scan")])


def _rest(p: Picture) -> Advice | None:
    because: list[Reason] = []
    if p.regressed:
        if p.facts.regressed_on is not None:
            because.append((f"Called regressed on {day(p.facts.regressed_on)}.", p.facts.refs_of("regressed_on")))
        if p.decline is not None and p.decline.stated:
            because.append((f"Regressing: {p.decline.sentence}", p.decline.refs))
    if not p.ovulated:
        if p.recovery_until is not None and p.facts.last_laid_on is not None:
            sentence = f"Clutch on {day(p.facts.last_laid_on)}: recovery until {day(p.recovery_until)} (house rule)."
            because.append((sentence, p.facts.refs_of("last_laid_on")))
        if "recovery" in p.facts.holds:
            because.append(("Hold: she is still recovering.", p.facts.refs_of("recovery")))
        if p.no_gain is not None:
            because.append((p.no_gain.sentence, p.no_gain.refs))
    return _said("rest", because) if because else None


def _weigh_and_feed(p: Picture) -> Advice | None:
    weight = latest_weight(p.facts, p.as_of)
    if p.facts.laid_on is not None:
        if weight is not None and weight.on > p.facts.laid_on:
            return None
        sentence = f"Laid on {day(p.facts.laid_on)} and not weighed since."
        return _said("weigh_and_feed", [(sentence, p.facts.refs_of("laid_on")), *_fed(p, "weighing")])
    if not p.visits_open:
        return None
    old = [barrier for barrier in p.barriers if barrier.kind == "weight_old"]
    if not old:
        return None
    return _said("weigh_and_feed", [(old[0].sentence, old[0].refs), *_fed(p, "weighing")])


def _pause_pairing(p: Picture) -> Advice | None:
    if not p.visits_open or not p.barriers:
        return None
    return _said("pause_pairing", [(barrier.sentence, barrier.refs) for barrier in p.barriers])


def _feed_up(p: Picture) -> Advice | None:
    weight = latest_weight(p.facts, p.as_of)
    no_meals = {"regurgitation", *VET_HOLDS} & set(p.facts.holds) or any(b.kind == "regurgitation" for b in p.barriers)
    if weight is None or p.ovulated or no_meals:
        return None
    gap = p.profile.gate_breeding_weight_g - weight.g
    if gap <= 0:
        return None
    own = own_gain_g_per_week(p.facts, p.as_of, p.profile)
    usual = own if own is not None else p.profile.feed_up_usual_gain_g_per_week
    whose = "her own weights" if own is not None else "the species' usual gain, not yet hers"
    by = _gap_closed(p, gap, usual, weight.on)
    last = _refs([weight])
    gain = last if own is None else _refs(recent_weights(p.facts, p.as_of, p.profile))
    sentence = (
        f"{grams(weight.g)} on {day(weight.on)}: {grams(gap)} short of {grams(p.profile.gate_breeding_weight_g)}."
    )
    because: list[Reason] = [(sentence, last)]
    if by is None:
        because.append((f"At {usual:+.1f} g a week ({whose}) no date can be given.", gain))
    elif by.p90 <= p.as_of:
        because.append((f"At {usual:.1f} g a week ({whose}) she is there by now, if she ate: weigh her.", gain))
        by = None
    else:
        because.append((f"At {usual:.1f} g a week ({whose}) by {window(by)}.", gain))
        fasting = p.fasting_by(by.p50)
        if fasting >= p.profile.advice_past_line_probability:
            line = f"{p.profile.lines_appetite_mm:g} mm, where females fast (house rule)"
            sentence = f"Past {line}, by {day(by.p50)} with {percent(fasting)}: the date holds only while she eats."
            because.append((sentence, _all_scans(p)))
    because.append(_rule(f"Not beyond {grams(p.profile.feed_up_ceiling_g)}."))
    return _said("feed_up", because, gap_g=gap, by=by, ceiling_g=p.profile.feed_up_ceiling_g)


def _gap_closed(p: Picture, gap: float, usual: float, start: date) -> DateInterval | None:
    shares = (p.profile.feed_up_gain_high_share, 1.0, p.profile.feed_up_gain_low_share)
    if usual <= 0 or gap / (usual * shares[1]) > p.profile.feed_up_longest_weeks:
        return None
    quick, middle, slow = (start + timedelta(days=round(7 * gap / (usual * share))) for share in shares)
    if slow <= p.as_of:
        return DateInterval(quick, middle, slow)
    tomorrow = p.as_of + timedelta(days=1)
    return DateInterval(max(quick, tomorrow), max(middle, tomorrow), slow)


def _may_visit(p: Picture) -> bool:
    blocked = p.barriers or p.mass_alarm is not None or p.facts.straining or p.no_gain is not None
    return p.visits_open and not blocked


def _begin_pairing(p: Picture) -> Advice | None:
    if not _may_visit(p) or p.visits:
        return None
    profile = p.profile
    opened = f"The season opened on {day(p.cycle.opening)}; the gate is met and no visit is recorded."
    weight = latest_weight(p.facts, p.as_of)
    because: list[Reason] = [(opened, () if weight is None else _refs([weight])), *_size_sentences(p)]
    line = f"{profile.lines_pair_in_earnest_mm:g} mm (house rule)"
    if p.chances.earnest >= profile.advice_past_line_probability:
        because.append((f"Past {line} with {percent(p.chances.earnest)}: in earnest.", _all_scans(p)))
    else:
        because.append(_rule(f"In earnest from {line}; a small follicle alone never forbids a visit."))
    return _said("begin_pairing", [*because, *_fed(p, "visit")])


def _in_earnest(p: Picture) -> Advice | None:
    if not _may_visit(p) or not p.visits:
        return None
    profile, course = p.profile, p.course
    since = p.as_of - timedelta(days=profile.advice_lock_window_days)
    locks = locks_since(since, [(visit.on, visit.locked) for visit in p.visits])
    seen = _refs(visit for visit in p.visits if visit.on >= since)
    because: list[Reason] = _size_sentences(p)
    because.append((f"{count(locks, 'lock', 'locks')} in {profile.advice_lock_window_days:g} days.", seen))
    act = "keep_pairing"
    if p.chances.earnest < profile.advice_past_line_probability:
        because.append(_rule(f"In earnest from {profile.lines_pair_in_earnest_mm:g} mm (house rule)."))
    elif course is not None:
        usual = "her own course" if course.own else "the species' usual course"
        sentence = f"Growth {course.last_mm_per_week:+.1f} mm a week, {usual} {course.expected_mm_per_week:+.1f}"
        because.append((f"{sentence} at this size.", _refs(p.scans if course.own else p.scans[-2:])))
        sure = profile.advice_unsure_high_probability
        if course.p_slower >= sure and locks <= profile.advice_few_locks:
            act = "pair_more"
        elif course.p_faster >= sure and locks >= profile.advice_many_locks:
            act = "pair_less"
    return _said(act, [*because, *_fed(p, "visit")])


def _expect_fasting(p: Picture) -> Advice | None:
    profile = p.profile
    if p.ovulated or p.regressed or p.chances.appetite < profile.advice_past_line_probability:
        return None
    chance = percent(p.chances.appetite)
    because: list[Reason] = [
        (f"Past the appetite line of {profile.lines_appetite_mm:g} mm (house rule) with {chance}.", _all_scans(p)),
        _rule("Fasting is expected; watch her weight, not her meals."),
    ]
    left = _left_in_a_row(p)
    if left:
        because.append((f"She left her last {count(len(left), 'meal', 'meals')}.", _refs(left)))
    return _said("expect_fasting", because)


def _left_in_a_row(p: Picture) -> list[Meal]:
    run: list[Meal] = []
    for meal in sorted((m for m in p.facts.meals if m.on <= p.as_of), key=lambda m: m.on, reverse=True):
        if meal.eaten:
            break
        run.append(meal)
    return run


def _fed(p: Picture, what: str) -> list[Reason]:
    """The handling limit after a meal, said beside every act that means handling her."""
    eaten = [meal for meal in p.facts.meals if meal.eaten and meal.on <= p.as_of]
    if not eaten:
        return []
    last = max(meal.on for meal in eaten)
    free = last + timedelta(hours=p.profile.hold_after_meal_h)
    if p.as_of >= free:
        return []
    sentence = f"Fed on {day(last)}: no {what} before {day(free)} ({p.profile.hold_after_meal_h:g} h)."
    return [(sentence, _refs(meal for meal in eaten if meal.on == last))]


def _wait(p: Picture) -> Advice:
    if p.laid and p.facts.laid_on is not None:
        weight = latest_weight(p.facts, p.as_of)
        refs = (*p.facts.refs_of("laid_on"), *(() if weight is None else _refs([weight])))
        return _said("wait", [(f"Laid on {day(p.facts.laid_on)}, and weighed since.", refs)])
    if p.as_of < p.cycle.opening:
        first = f"The season opens on {day(p.cycle.opening)}."
    elif not p.season_open:
        first = "The time for visits is over this season."
    else:
        first = "Nothing can change before the next scan."
    return _said("wait", [_rule(first), *_size_sentences(p)])
