"""The next meal: when, what, how much, and what closes it. Figures worked by hand from the shipped numbers."""

from __future__ import annotations

from datetime import date

import pytest

from apps.engines.feeding import CHECK, HELD, OFFER, WAIT, FeedingHold, Weight, tastes_of
from tests.engines.feeding.conftest import TODAY, ago, asked, ate, weighed


def test_due_after_the_interval_and_not_before() -> None:
    assert (asked(meals=(ate(14),)).act, asked(meals=(ate(14),)).due_on) == (OFFER, TODAY)
    later = asked(meals=(ate(13),))
    assert (later.act, later.due_on) == (WAIT, date(2027, 4, 7))
    assert asked(meals=(ate(20),)).days_late(TODAY) == 6


def test_a_young_one_is_fed_at_the_interval_of_the_young() -> None:
    small = asked(weights=(weighed(3, 120),), meals=(ate(7, 12, size="fuzzy"),), hatched_on=date(2026, 8, 1))
    assert (small.act, small.due_on) == (OFFER, TODAY)
    assert "every 7 days for young" in small.because[0]


def test_the_amount_is_a_share_of_body_mass_and_never_above_the_cap() -> None:
    plan = asked()
    assert (plan.low_g, plan.high_g, plan.cap_g) == (150, 225, 300)
    assert plan.choice is not None
    assert (plan.choice.prey, plan.choice.size, plan.choice.count, plan.choice.presentation) == (
        "rat",
        "large",
        1,
        "thawed",
    )
    assert plan.choice.total_g == 175
    assert plan.choice.share_pct == pytest.approx(11.67, abs=0.01)


def test_one_step_up_at_most_from_what_it_usually_takes() -> None:
    plan = asked(meals=tuple(ate(days, 60, size="small") for days in (43, 29, 15)))
    assert plan.high_g == 90  # 1.5 times 60 g, though 10 % of its mass is 150 g
    assert plan.choice is not None
    assert plan.choice.total_g is not None
    assert plan.choice.total_g <= 105
    assert any("in one step" in words for words in plan.because)


def test_without_a_weight_what_it_last_took_and_no_share() -> None:
    plan = asked(weights=())
    assert plan.choice is not None
    assert (plan.choice.size, plan.choice.share_pct, plan.low_g) == ("large", None, None)
    assert any("No weight" in words for words in plan.because)


def test_an_old_weight_earns_a_caution() -> None:
    assert any("46 days old" in words for words in asked(weights=(weighed(46, 1500),)).because)
    assert not any("days old" in words for words in asked(weights=(weighed(45, 1500),)).because)


def test_holds_close_it_and_name_their_end() -> None:
    hold = FeedingHold(
        "regurgitation", "regurgitated on 1 Apr; 14 days without food (house rule)", date(2027, 4, 15), True
    )
    plan = asked(holds=(hold,))
    assert (plan.act, plan.due_on, plan.choice) == (HELD, date(2027, 4, 16), None)
    assert "regurgitated on 1 Apr" in plan.because[0]
    stopped = asked(holds=(FeedingHold("feeding stopped", "before the vet", None, True),))
    assert (stopped.act, stopped.due_on) == (HELD, None)


def test_opaque_waits_for_the_shed_and_quarantine_forbids_no_food() -> None:
    opaque = asked(holds=(FeedingHold("opaque", "eyes clouded on 4 Apr", date(2027, 4, 14), False),))
    assert (opaque.act, opaque.due_on) == (WAIT, date(2027, 4, 15))
    assert asked(holds=(FeedingHold("quarantine", "bought", date(2027, 9, 1), False),)).act == OFFER


def test_an_unchecked_offer_is_looked_at_first() -> None:
    plan = asked(meals=(ate(15), ate(0, outcome="")))
    assert (plan.act, plan.choice) == (CHECK, None)


def test_a_left_meal_is_offered_again_sooner_and_changes_no_taste() -> None:
    plan = asked(meals=(ate(21), ate(7, outcome="left")))
    assert (plan.act, plan.due_on) == (OFFER, TODAY)
    assert asked(meals=(ate(21), ate(6, outcome="left"))).act == WAIT


@pytest.mark.parametrize(
    ("scan_in", "act", "due_in"),
    [(-3, OFFER, -1), (-2, OFFER, -1), (0, OFFER, -1), (1, WAIT, 1), (2, WAIT, 2), (3, OFFER, -1)],
)
def test_scan_day_before_feed_day(scan_in: int, act: str, due_in: int) -> None:
    """48 h of rest after a meal: a scan on one of the two next days comes first; one long overdue waits no longer."""
    plan = asked(scan_on=ago(-scan_in))
    assert (plan.act, plan.due_on) == (act, ago(-due_in))


def test_a_meal_to_come_is_moved_behind_a_scan_too() -> None:
    """Due in 2 days, scan in 3: the meal would close the scan, so it waits for it."""
    plan = asked(meals=(ate(12),), scan_on=ago(-3))
    assert (plan.act, plan.due_on) == (WAIT, ago(-3))


def test_a_female_in_season_is_judged_by_mass_and_not_by_her_fast() -> None:
    fast = tuple(ate(days, outcome="left") for days in range(49, 0, -7))
    steady = (weighed(42, 1700), weighed(5, 1640))
    for stage in ("preovulatory", "ovulated"):
        plan = asked(meals=fast, weights=steady, stage=stage)
        assert (plan.concern, plan.may_leave) == ("", True)
    assert "Left 7 meals in a row" in asked(meals=fast, weights=steady).concern
    # the same fast, and 8 % lost in 42 days: that is what matters, in season or not
    lost = (weighed(42, 1700), weighed(0, 1564))
    for stage in ("preovulatory", ""):
        assert "Lost 8.0 % in 42 days" in asked(meals=fast, weights=lost, stage=stage).concern


def test_no_food_between_the_pre_lay_shed_and_laying() -> None:
    plan = asked(stage="gravid")
    assert (plan.act, plan.due_on) == (WAIT, None)
    assert "gravid" in plan.because[0].lower()


def test_ovulated_gets_the_small_end() -> None:
    plan = asked(stage="ovulated")
    assert (plan.low_g, plan.high_g) == (150, 150)


def test_a_young_that_never_ate() -> None:
    hatched = ago(20)
    fresh = asked(hatched_on=hatched, meals=(), weights=(weighed(20, 60),), ever_ate=False)
    assert fresh.concern == ""
    assert (fresh.act, fresh.due_on) == (OFFER, ago(7))  # 13 days after hatching, after the first shed
    assert fresh.choice is not None
    assert (fresh.choice.prey, fresh.choice.presentation) == ("rat", "thawed")
    too_young = asked(hatched_on=ago(5), meals=(), weights=(weighed(5, 60),), ever_ate=False)
    assert (too_young.act, too_young.due_on) == (WAIT, ago(-8))
    # 45 days after hatching and not before: Burger 1991 (Pituophis), 49 % fed by 30 days, 93 % by 60 at 27 C
    left = tuple(ate(days, 9, outcome="left", size="fuzzy") for days in (24, 17, 10))
    for age, concerned in ((44, False), (45, True)):
        plan = asked(hatched_on=ago(age), meals=left, weights=(weighed(2, 55),), ever_ate=False)
        assert bool(plan.concern) is concerned
    assert "never ate" in plan.concern
    assert "veterinarian" in plan.concern


def test_the_first_meal_after_a_regurgitation_is_half() -> None:
    """Common practice, no source."""
    plan = asked(meals=(ate(40), ate(20, outcome="regurgitated")))
    assert plan.cap_g == 150
    assert plan.high_g is not None
    assert plan.high_g <= 112.5


def test_taste_is_what_it_ate() -> None:
    meals = [
        ate(40, prey="mouse", size="adult", presentation="live"),
        ate(33, outcome="left"),
        ate(26, vigour="slow"),
        ate(19, outcome=""),
        ate(12, vigour="strong"),
    ]
    first, second = tastes_of(meals)
    assert (first.words, first.vigour) == ("rat, thawed: ate 2 of 3", "strong")
    assert second.words == "mouse, live: ate 1 of 1"
    plan = asked(meals=tuple(meals))
    assert plan.choice is not None
    assert (plan.choice.prey, plan.choice.presentation) == ("rat", "thawed")


def test_weights_of_a_laying_are_no_loss() -> None:
    """The laying drop itself, about 32 % of pre-laying mass (Ellis & Chappell 1987), is no alarm."""
    weights = (Weight(ago(30), 2200), Weight(ago(10), 1500), Weight(ago(2), 1480))
    assert asked(weights=weights, laid=(ago(12),)).concern == ""
    assert "Lost 32.7 %" in asked(weights=weights).concern
