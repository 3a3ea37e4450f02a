"""What to do next: the acts in order of precedence, each with its figures. The first that applies leads."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

from .answer import Advice, DateInterval
from .facts import Scan
from .gate import VET_HOLDS, latest_weight, own_gain_g_per_week
from .picture import Picture
from .readings import locks_since
from .words import count, day, grams, percent, window

Rule = Callable[[Picture], Advice | None]


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
    because: list[str] = []
    refs: tuple[str, ...] = ()
    if p.facts.straining:
        because.append("She strains: call the veterinarian now; do not press or pull.")
    because += [f"Hold: {VET_HOLDS[word]}; a veterinarian decides." for word in p.facts.holds if word in VET_HOLDS]
    if p.mass_alarm is not None:
        because.append(p.mass_alarm.sentence)
        refs += p.mass_alarm.refs
    if p.late is not None:
        ends, days, whose = p.late
        what = "birth" if p.profile.live_bearing else "eggs"
        because.append(f"No {what} {count(days, 'day', 'days')} past {whose}, which ended on {day(ends)}.")
        if days > p.profile.timing_late_urgent_days:
            because.append("Call the veterinarian today; at once if she strains or weakens.")
        else:
            because.append("Ask the veterinarian; call at once if she strains or weakens.")
    return Advice("see_vet", tuple(because), refs) if because else None


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
    return Advice("expect_eggs", (since, f"{what} {window(p.eggs)} (80 %)."))


def _expect_shed(p: Picture) -> Advice | None:
    if p.laid or p.facts.ovulated_on is None or p.facts.pre_lay_shed_on is not None or p.shed is None:
        return None
    return Advice("expect_shed", (f"Ovulated on {day(p.facts.ovulated_on)}.", f"Shed {window(p.shed)} (80 %)."))


def _line_sentences(p: Picture) -> tuple[str, ...]:
    stop = p.profile.lines_stop_mm
    chance = f"Past {stop:g} mm with {percent(p.chances.stop)}; the line to stop is a house rule."
    return (*_size_sentences(p), chance)


def _size_sentences(p: Picture) -> tuple[str, ...]:
    found = []
    if p.scans:
        found.append(f"{p.scans[-1].mm:g} mm on {day(p.scans[-1].on)}.")
    if p.mm_now is not None:
        found.append(f"Now about {p.mm_now.p50:.1f} mm ({p.mm_now.p10:.1f} to {p.mm_now.p90:.1f}, 80 %).")
    return tuple(found)


def _scan_refs(p: Picture) -> tuple[str, ...]:
    return tuple(scan.ref for scan in p.scans[-1:] if scan.ref)


def _expect_ovulation(p: Picture) -> Advice | None:
    if not p.past_stop or p.regressed:
        return None
    because = _line_sentences(p)
    if p.ovulation is not None:
        because += (f"Ovulation {window(p.ovulation)} (80 %, if she ovulates).",)
    return Advice("expect_ovulation", (*because, *_unseen_sentences(p)), _scan_refs(p))


def _unseen_sentences(p: Picture) -> tuple[str, ...]:
    if p.unseen is None or p.chances.unseen < p.profile.advice_unsure_low_probability:
        return ()
    chance = percent(p.chances.unseen)
    return (f"She may have ovulated unseen since {day(p.unseen.p10)} with {chance}: {window(p.unseen)} (80 %).",)


def _stop_pairing(p: Picture) -> Advice | None:
    if not p.past_stop or p.regressed:
        return None
    locks = sum(visit.locked for visit in p.visits)
    seen = f"{count(len(p.visits), 'visit', 'visits')} this season, {count(locks, 'lock', 'locks')}."
    return Advice("stop_pairing", (*_line_sentences(p), seen), _scan_refs(p))


def _last_doubtful(p: Picture) -> Scan | None:
    known = [s for s in p.facts.scans if p.cycle.begins <= s.on <= p.as_of]
    last = max(known, key=lambda scan: scan.on, default=None)
    return last if last is not None and last not in p.scans else None


def _scan_again(p: Picture) -> Advice | None:
    if p.ovulated or p.regressed:
        return None
    profile = p.profile
    because: list[str] = []
    refs: tuple[str, ...] = ()
    doubtful = _last_doubtful(p)
    if doubtful is not None:
        because.append(f"The reading of {doubtful.mm:g} mm on {day(doubtful.on)} is in doubt.")
        refs += (doubtful.ref,) if doubtful.ref else ()
    if p.decline is not None:
        apart = profile.advice_regression_min_days
        because.append(f"Growth in doubt: {p.decline.sentence}")
        because.append(f"Regression is stated only on two smaller readings at least {apart:g} days apart.")
        refs += p.decline.refs
    low, high = profile.advice_unsure_low_probability, profile.advice_unsure_high_probability
    if not p.scans and p.unscanned_stop >= low and p.season_open:
        chance = percent(p.unscanned_stop)
        because.append(f"No reading this cycle; by the season alone past {profile.lines_stop_mm:g} mm with {chance}.")
    if low <= p.chances.stop <= high:
        because.append(f"Past the stop line of {profile.lines_stop_mm:g} mm with {percent(p.chances.stop)}: unsure.")
    if p.decline is None and len(p.scans) > 1 and p.chances.regressing >= low:
        because.append(f"Regressing with {percent(p.chances.regressing)}, on no second smaller reading: unsure.")
    because += _unseen_sentences(p)
    if not because:
        return None
    because.append(f"Scan again by {day(p.as_of + timedelta(days=profile.advice_again_within_days))}.")
    return Advice("scan_again", (*because, *_fed(p, "scan")), tuple(dict.fromkeys(refs)))


def _rest(p: Picture) -> Advice | None:
    because: list[str] = []
    refs: tuple[str, ...] = ()
    if p.regressed:
        if p.facts.regressed_on is not None:
            because.append(f"Called regressed on {day(p.facts.regressed_on)}.")
        if p.decline is not None and p.decline.stated:
            because.append(f"Regressing: {p.decline.sentence}")
            refs += p.decline.refs
    if not p.ovulated:
        if p.recovery_until is not None and p.facts.last_laid_on is not None:
            because.append(
                f"Clutch on {day(p.facts.last_laid_on)}: recovery until {day(p.recovery_until)} (house rule)."
            )
        if "recovery" in p.facts.holds:
            because.append("Hold: she is still recovering.")
        if p.no_gain is not None:
            because.append(p.no_gain.sentence)
            refs += p.no_gain.refs
    return Advice("rest", tuple(because), refs) if because else None


def _weigh_and_feed(p: Picture) -> Advice | None:
    weight = latest_weight(p.facts, p.as_of)
    refs = (weight.ref,) if weight is not None and weight.ref else ()
    if p.facts.laid_on is not None:
        if weight is not None and weight.on > p.facts.laid_on:
            return None
        return Advice(
            "weigh_and_feed", (f"Laid on {day(p.facts.laid_on)} and not weighed since.", *_fed(p, "weighing"))
        )
    if not p.visits_open:
        return None
    old = [barrier for barrier in p.barriers if barrier.kind == "weight_old"]
    if not old:
        return None
    return Advice("weigh_and_feed", (old[0].sentence, *_fed(p, "weighing")), refs)


def _pause_pairing(p: Picture) -> Advice | None:
    if not p.visits_open or not p.barriers:
        return None
    refs = tuple(ref for barrier in p.barriers for ref in barrier.refs)
    return Advice("pause_pairing", tuple(barrier.sentence for barrier in p.barriers), tuple(dict.fromkeys(refs)))


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
    because = [
        f"{grams(weight.g)} on {day(weight.on)}: {grams(gap)} short of {grams(p.profile.gate_breeding_weight_g)}."
    ]
    if by is None:
        because.append(f"At {usual:+.1f} g a week ({whose}) no date can be given.")
    else:
        because.append(f"At {usual:.1f} g a week ({whose}) by {window(by)}.")
    because.append(f"Not beyond {grams(p.profile.feed_up_ceiling_g)}.")
    refs = (weight.ref,) if weight.ref else ()
    return Advice("feed_up", tuple(because), refs, gap_g=gap, by=by, ceiling_g=p.profile.feed_up_ceiling_g)


def _gap_closed(p: Picture, gap: float, usual: float, start: date) -> DateInterval | None:
    shares = (p.profile.feed_up_gain_high_share, 1.0, p.profile.feed_up_gain_low_share)
    if usual <= 0 or gap / (usual * shares[1]) > p.profile.feed_up_longest_weeks:
        return None
    quick, middle, slow = (
        max(start + timedelta(days=round(7 * gap / (usual * share))), p.as_of + timedelta(days=1)) for share in shares
    )
    return DateInterval(quick, middle, slow)


def _may_visit(p: Picture) -> bool:
    blocked = p.barriers or p.mass_alarm is not None or p.facts.straining or p.no_gain is not None
    return p.visits_open and not blocked


def _begin_pairing(p: Picture) -> Advice | None:
    if not _may_visit(p) or p.visits:
        return None
    profile = p.profile
    because = [f"The season opened on {day(p.cycle.opening)}; the gate is met and no visit is recorded."]
    because += _size_sentences(p)
    line = f"{profile.lines_pair_in_earnest_mm:g} mm (house rule)"
    if p.chances.earnest >= profile.advice_past_line_probability:
        because.append(f"Past {line} with {percent(p.chances.earnest)}: in earnest.")
    else:
        because.append(f"In earnest from {line}; a small follicle alone never forbids a visit.")
    return Advice("begin_pairing", (*because, *_fed(p, "visit")), _scan_refs(p))


def _in_earnest(p: Picture) -> Advice | None:
    if not _may_visit(p) or not p.visits:
        return None
    profile, course = p.profile, p.course
    since = p.as_of - timedelta(days=profile.advice_lock_window_days)
    locks = locks_since(since, [(visit.on, visit.locked) for visit in p.visits])
    because = [*_size_sentences(p), f"{count(locks, 'lock', 'locks')} in {profile.advice_lock_window_days:g} days."]
    refs = (*_scan_refs(p), *(visit.ref for visit in p.visits if visit.ref and visit.on >= since))
    act = "keep_pairing"
    if p.chances.earnest < profile.advice_past_line_probability:
        because.append(f"In earnest from {profile.lines_pair_in_earnest_mm:g} mm (house rule).")
    elif course is not None:
        usual = "her own course" if course.own else "the species' usual course"
        because.append(
            f"Growth {course.last_mm_per_week:+.1f} mm a week, {usual} {course.expected_mm_per_week:+.1f} at this size."
        )
        sure = profile.advice_unsure_high_probability
        if course.p_slower >= sure and locks <= profile.advice_few_locks:
            act = "pair_more"
        elif course.p_faster >= sure and locks >= profile.advice_many_locks:
            act = "pair_less"
    return Advice(act, (*because, *_fed(p, "visit")), refs)


def _expect_fasting(p: Picture) -> Advice | None:
    profile = p.profile
    if p.ovulated or p.regressed or p.chances.appetite < profile.advice_past_line_probability:
        return None
    because = [
        f"Past the appetite line of {profile.lines_appetite_mm:g} mm (house rule) with {percent(p.chances.appetite)}.",
        "Fasting is expected; watch her weight, not her meals.",
    ]
    left = _left_in_a_row(p)
    if left:
        because.append(f"She left her last {count(left, 'meal', 'meals')}.")
    return Advice("expect_fasting", tuple(because), _scan_refs(p))


def _left_in_a_row(p: Picture) -> int:
    run = 0
    for meal in sorted((m for m in p.facts.meals if m.on <= p.as_of), key=lambda m: m.on, reverse=True):
        if meal.eaten:
            break
        run += 1
    return run


def _fed(p: Picture, what: str) -> tuple[str, ...]:
    """The handling limit after a meal, said beside every act that means handling her."""
    eaten = [meal.on for meal in p.facts.meals if meal.eaten and meal.on <= p.as_of]
    if not eaten:
        return ()
    free = max(eaten) + timedelta(hours=p.profile.hold_after_meal_h)
    if p.as_of >= free:
        return ()
    return (f"Fed on {day(max(eaten))}: no {what} before {day(free)} ({p.profile.hold_after_meal_h:g} h).",)


def _wait(p: Picture) -> Advice:
    if p.laid and p.facts.laid_on is not None:
        return Advice("wait", (f"Laid on {day(p.facts.laid_on)}, and weighed since.",))
    if p.as_of < p.cycle.opening:
        return Advice("wait", (f"The season opens on {day(p.cycle.opening)}.", *_size_sentences(p)))
    if not p.season_open:
        return Advice("wait", ("The time for visits is over this season.", *_size_sentences(p)))
    return Advice("wait", ("Nothing can change before the next scan.", *_size_sentences(p)))
