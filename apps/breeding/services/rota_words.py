"""Why a planned visit stands, and who is not planned, in sentences with figures."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from apps.breeding.choices import WishKind
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.selectors.rota import RotaQuestion, stop_reach
from apps.breeding.selectors.rota_animals import WEEK
from apps.breeding.selectors.rota_values import YOUNG
from apps.core.formats import day_text, number_text
from apps.engines.rota import Reason, Rota, Visit


def worth_text(amount: float, unit: str) -> str:
    """``2.4 young`` or ``310 USD``."""
    return f"{number_text(amount, 1)} young" if unit == YOUNG else f"{number_text(amount, 0)} {unit}"


def line_words(question: RotaQuestion, visit: Visit, reason: Reason) -> list[str]:
    """The reasons of one visit, the weightiest first."""
    hers, his = question.females[visit.female], question.males[visit.male]
    words = []
    for wish in question.pins:
        week = (wish.week_of - question.first_day) // WEEK if wish.week_of else -1
        if (wish.female_id, wish.male_id, week) == (hers.animal.pk, his.animal.pk, visit.week):
            words.append(f"Pinned: {wish.reason}.")
    stop = species_profile(question.species).number("lines.stop_mm")
    reach = stop_reach(hers.forecast, stop) if hers.forecast is not None and stop is not None else None
    if reach is not None:
        words.append(
            f"{round(100 * reason.chance_in_window)} % that this week lies in her window, which ends when she passes "
            f"{stop:g} mm: {day_text(reach[1])} to {day_text(reach[3])} "
            f"({round(100 * reach[0])} % that she gets there)."
        )
    words.append(_without(question, reason))
    if reason.runner_up is not None:
        other = question.females[reason.runner_up].animal.code
        words.append(f"Next for this slot: {other}, who would gain {worth_text(reason.runner_up_gain, question.unit)}.")
    kin = question.kinship.get((hers.animal.pk, his.animal.pk), 0.0)
    if kin > 0:
        words.append(f"Kinship of the pair {kin:.3f}, within the limit.")
    return words


def _without(question: RotaQuestion, reason: Reason) -> str:
    worth = worth_text(reason.worth, question.unit)
    if not reason.instead:
        return f"Without it the season would lose about {worth}; she would have no visit."
    others = ", ".join(
        f"{question.males[visit.male].animal.code} in the week of "
        f"{day_text(question.first_day + timedelta(weeks=visit.week))}"
        for visit in reason.instead
    )
    return f"Without it the season would lose about {worth}; her next best plan is {others}."


def not_planned(question: RotaQuestion, found: Rota) -> dict[str, Any]:
    """Animals without a week, pins that could not be kept, pairs kept apart: codes, refs and reasons."""
    planned = {visit.female for visit in found.visits}
    refused = [
        {
            "female": question.females[refusal.pin.female].animal.code,
            "male": question.males[refusal.pin.male].animal.code,
            "week_of": (question.first_day + timedelta(weeks=refusal.pin.week)).isoformat(),
            "why": refusal.why,
        }
        for refusal in found.refused
    ]
    there = {one.animal.pk for one in (*question.females, *question.males)}
    idle = {one.animal.pk: one for one in question.idle}
    for wish in question.wishes:
        if wish.kind == WishKind.PIN and not {wish.female_id, wish.male_id} <= there and wish.week_of is not None:
            who = [idle[pk] for pk in (wish.female_id, wish.male_id) if pk in idle]
            refused.append(
                {
                    "female": wish.female.code,
                    "male": wish.male.code,
                    "week_of": wish.week_of.isoformat(),
                    "why": " ".join(f"{one.animal.code}: {why}" for one in who for why in one.why),
                }
            )
    return {
        "idle": [
            {"code": one.animal.code, "ref": one.animal.ref, "sex": str(one.animal.sex), "why": one.why}
            for one in question.idle
        ],
        "left_out": [
            {"code": one.animal.code, "ref": one.animal.ref}
            for row, one in enumerate(question.females)
            if row not in planned
        ],
        "refused": refused,
        "apart": len(question.blocked),
        "met": len(question.problem.pair_value),
    }
