"""What holds of every plan, whatever the facts."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from apps.engines.feeding import CHECK, HELD, OFFER, WAIT, FeedingFacts, FeedingHold, Meal, Weight, plan_meal
from apps.engines.feeding.growth import expected_mass, growth_curve
from tests.engines.feeding.conftest import TODAY, house_rules, numbers, prey, profile

PROFILES = {slug: profile(slug) for slug in ("python-regius", "pantherophis-guttatus", "eublepharis-macularius")}
RULES, PREY = house_rules(), prey()
DAYS = st.integers(0, 170).map(lambda back: TODAY - timedelta(days=back))
MEALS = st.lists(
    st.builds(
        Meal,
        on=DAYS,
        outcome=st.sampled_from(["ate", "left", "regurgitated", ""]),
        prey=st.sampled_from(["rat", "mouse", "chick", "insect", "other"]),
        size=st.sampled_from(["small", "large", "hopper", ""]),
        prey_g=st.none() | st.floats(0.1, 400),
        count=st.integers(1, 6),
        presentation=st.sampled_from(["thawed", "live"]),
    ),
    max_size=12,
).map(lambda rows: tuple(sorted(rows, key=lambda meal: meal.on)))
WEIGHTS = st.lists(st.builds(Weight, on=DAYS, g=st.floats(2, 4000)), max_size=6).map(
    lambda rows: tuple(sorted(rows, key=lambda weight: weight.on))
)
HOLDS = st.lists(
    st.builds(
        FeedingHold,
        word=st.sampled_from(["regurgitation", "opaque", "quarantine", "feeding stopped"]),
        reason=st.just("said so"),
        until=st.none() | DAYS.map(lambda day: day + timedelta(days=180)),
        forbids=st.booleans(),
    ),
    max_size=2,
).map(tuple)
FACTS = st.builds(
    FeedingFacts,
    hatched_on=st.none() | DAYS,
    meals=MEALS,
    weights=WEIGHTS,
    laid=st.lists(DAYS, max_size=1).map(tuple),
    holds=HOLDS,
    stage=st.sampled_from(["", "vitellogenic", "preovulatory", "ovulated", "gravid", "laid"]),
    fast_expected=st.booleans(),
    scan_on=st.none() | st.integers(-10, 10).map(lambda days: TODAY + timedelta(days=days)),
    ever_ate=st.booleans(),
    is_heavy=st.booleans(),
)


@given(facts=FACTS, slug=st.sampled_from(sorted(PROFILES)))
@settings(max_examples=400, deadline=None)
def test_every_plan_is_sound(facts: FeedingFacts, slug: str) -> None:
    plan = plan_meal(facts, PROFILES[slug], RULES, PREY, TODAY)
    assert plan.because
    assert plan.act in {OFFER, WAIT, HELD, CHECK}
    if plan.cap_g is not None and plan.low_g is not None and plan.high_g is not None:
        assert 0 < plan.low_g <= plan.high_g <= plan.cap_g
        # what is proposed is never above the cap
        if plan.choice is not None and plan.choice.total_g is not None:
            assert plan.choice.total_g <= plan.cap_g + 1e-9
            assert plan.choice.count >= 1
    if plan.act == OFFER:
        assert plan.due_on is not None
        assert plan.due_on <= TODAY
        assert not any(hold.forbids or hold.word == "opaque" for hold in facts.holds)
        assert not facts.meals or facts.meals[-1].outcome
    if any(hold.forbids for hold in facts.holds):
        assert (plan.act, plan.choice) == (HELD, None)
    if plan.act in {HELD, CHECK}:
        assert plan.choice is None


@given(facts=FACTS, back=st.integers(1, 60))
@settings(max_examples=200, deadline=None)
def test_an_unchecked_offer_counts_as_nothing_for_appetite(facts: FeedingFacts, back: int) -> None:
    """Tastes and concerns are the same with and without it."""
    waiting = Meal(TODAY, "", "rat", "large", 150)
    with_it = FeedingFacts(
        **{name: getattr(facts, name) for name in FeedingFacts.__slots__ if name != "meals"},
        meals=(*facts.meals, waiting),
    )
    plain, more = (plan_meal(one, PROFILES["python-regius"], RULES, PREY, TODAY) for one in (facts, with_it))
    assert plain.concern == more.concern


@given(day=st.integers(0, 3000), later=st.integers(1, 400), male=st.booleans())
def test_expected_growth_never_falls_and_keeps_its_order(day: int, later: int, male: bool) -> None:
    for slug in ("python-regius", "pantherophis-guttatus", "boa-imperator", "eublepharis-macularius"):
        curve = growth_curve(numbers(slug), "male" if male else "female")
        assert curve is not None
        low, middle, high = expected_mass(curve, day)
        assert low < middle < high
        assert expected_mass(curve, day + later)[1] >= middle
        # a curve begun from a weighing on it is the same curve
        again = expected_mass(curve, later, from_g=middle)[1]
        assert abs(again - expected_mass(curve, day + later)[1]) < 1e-6 * again


def test_the_day_a_meal_is_due_does_not_depend_on_the_order_of_equal_facts() -> None:
    one = FeedingFacts(meals=(Meal(date(2027, 3, 1), "ate", "rat"), Meal(date(2027, 3, 20), "left", "rat")))
    assert plan_meal(one, PROFILES["python-regius"], RULES, PREY, TODAY).due_on == date(2027, 3, 27)
