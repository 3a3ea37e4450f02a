"""One animal's growth as its page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from apps.animals.models import Animal
from apps.care.pages.growth_svg import ExpectedPoint, expected_days, growth_svg
from apps.care.pages.weights_svg import WeightPoint
from apps.care.selectors.growth import Growth, growth_of
from apps.core import clock
from apps.core.formats import computed_grams_text, count_text, day_text, grams_text, number_text

ROWS = 20


@dataclass(frozen=True, slots=True)
class GrowthPage:
    """The page: a sentence, the picture, the newest weights."""

    animal: Animal
    words: str
    picture: str
    rows: list[tuple[str, str, str, bool]]
    loss_words: str
    is_loss: bool
    source: str
    mates: int


def growth_page(animal: Animal) -> GrowthPage:
    """A fixed number of queries."""
    growth = growth_of(animal)
    points = [WeightPoint(clock.day_of(w.observed_at), w.mass_g, w.doubtful) for w in growth.weights]
    mates = [[WeightPoint(on, grams) for on, grams in rows] for rows in growth.mates.values()]
    expected = []
    begins = growth.begins()
    if begins is not None and points:
        for on in expected_days(begins[0], max(clock.today(), points[-1].on)):
            usual = growth.usual_on(on)
            if usual is not None:
                expected.append(ExpectedPoint(on, usual.low_g, usual.middle_g, usual.high_g))
    return GrowthPage(
        animal=animal,
        words=growth_words(growth),
        picture=growth_svg(points, expected, mates, today=clock.today()),
        rows=_rows(growth),
        loss_words=_loss_words(growth),
        is_loss=growth.loss is not None and growth.loss.is_alarm,
        source=growth.source if expected else "",
        mates=len(mates),
    )


def growth_words(growth: Growth) -> str:
    """``412 g on 2 Apr, 240 days old. Usual at that age: 260 to 640 g. Heavier than 4 of 6 clutch-mates.``"""
    last = growth.last
    if last is None:
        return "No weight is recorded yet."
    day = clock.day_of(last.observed_at)
    hatched = growth.animal.hatched_on
    age = f", {count_text((day - hatched).days, 'day')} old" if hatched is not None else ""
    parts = [f"{grams_text(last.mass_g)} on {day_text(day)}{age}."]
    usual = growth.last_usual
    if usual is not None:
        after = "so long after its first weight" if growth.from_weight else "at that age"
        where = "below" if last.mass_g < usual.low_g else "above" if last.mass_g > usual.high_g else ""
        span = f"{computed_grams_text(usual.low_g)} to {computed_grams_text(usual.high_g)}"
        parts.append(f"Usual {after}: {span}{f'; it is {where} that' if where else ''}.")
    elif growth.curve is None:
        parts.append("The species has no growth figures.")
    if growth.mates_known:
        parts.append(
            f"Heavier than {growth.mates_lighter} of {count_text(growth.mates_known, 'clutch-mate')} weighed then."
        )
    return " ".join(parts)


def _loss_words(growth: Growth) -> str:
    loss = growth.loss
    if loss is None or loss.pct <= 0:
        return ""
    return (
        f"Lost {number_text(loss.pct, 1)} % in {count_text(loss.days, 'day')}, {grams_text(loss.base_g)} to "
        f"{grams_text(loss.last_g)}. The alarm is {loss.limit_pct:g} % in {loss.span_days:g} days."
    )


def _rows(growth: Growth) -> list[tuple[str, str, str, bool]]:
    """Day, grams, change since the sound weight before it, doubtful; newest first."""
    rows: list[tuple[str, str, str, bool]] = []
    before: float | None = None
    for weight in growth.weights:
        change = ""
        if not weight.doubtful:
            if before is not None:
                change = f"{number_text(weight.mass_g - before, 1 if weight.mass_g < 20 else 0, sign=True)} g"
            before = weight.mass_g
        day = day_text(clock.day_of(weight.observed_at), year=True)
        rows.append((day, grams_text(weight.mass_g), change, weight.doubtful))
    return rows[::-1][:ROWS]
