"""From a parcel to the question the window engine answers: addresses, animals, weather, rules."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import orjson

from apps.accounts.models import Facility
from apps.accounts.selectors import facility
from apps.animals.choices import HandlingAct, HoldWord
from apps.animals.models import Animal
from apps.animals.policies import forbids
from apps.animals.selectors import holds_in_force, profile_numbers
from apps.care.selectors.meals import last_meals_at
from apps.care.selectors.weights import latest_weights
from apps.core import clock
from apps.engines.windows.judge import AnimalFacts, DayVerdict, ShipQuestion
from apps.engines.windows.lane import Leg
from apps.engines.windows.law import Address, Consignment
from apps.engines.windows.physics import Band
from apps.engines.windows.weather import HourlySeries
from apps.shipping.models import Hub, Parcel, WeatherSeries
from apps.shipping.selectors.knowledge import shipped_policy
from apps.shipping.selectors.parcels import contents

BAND_KEYS = ("ship.green_low_c", "ship.green_high_c", "ship.red_low_c", "ship.red_high_c")
# These the question names apart: the meal by its day, the shed by itself.
SAID_APART = frozenset({HoldWord.FED, HoldWord.OPAQUE})
# Words that keep an animal at home whatever the weather.
HEALTH_WORDS = frozenset(word for word in HoldWord if forbids(word, HandlingAct.SHIP)) - SAID_APART


@dataclass(frozen=True)
class WindowInput:
    """One animal's question, or the reason why there is none."""

    animal: Animal
    question: ShipQuestion | None
    why_not: str = ""


def place_key(city: str, state: str, country: str) -> str:
    """How weather of a place is filed."""
    return f"{country}/{state}/{city}".casefold()[:60]


def origin_address(here: Facility) -> Address:
    """The facility as an origin."""
    return Address(here.postcode, here.city, here.county, here.state, here.country)


def counter_address(parcel: Parcel) -> Address:
    """The staffed counter that the parcel goes to."""
    return Address(
        parcel.counter_postcode,
        parcel.counter_city,
        parcel.counter_county,
        parcel.counter_state,
        parcel.counter_country,
    )


def places_of(parcel: Parcel) -> dict[str, str]:
    """Weather keys of the lane: origin, hub, destination."""
    here = facility()
    found = {"origin": place_key(here.city, here.state, here.country)}
    hub = parcel.hub
    if hub is not None:
        found["hub"] = place_key(hub.city, hub.state, hub.country)
    found["destination"] = place_key(parcel.counter_city, parcel.counter_state, parcel.counter_country)
    return found


def newest_weather(keys: Mapping[str, str]) -> dict[str, HourlySeries]:
    """The newest series of each place of a lane; a place without one is left out (and the verdict says so)."""
    found: dict[str, HourlySeries] = {}
    for place, key in keys.items():
        row = WeatherSeries.objects.filter(place_key=key).order_by("-issued_at").first()
        if row is None:
            continue
        found[place] = HourlySeries(
            tuple(datetime.fromisoformat(moment).astimezone(UTC) for moment, _ in row.hours),
            tuple(float(temp_c) for _, temp_c in row.hours),
            row.issued_at,
            row.kind,
        )
    return found


def lane_legs(hub: Hub | None) -> tuple[Leg, ...]:
    """The policy's legs for this kind of lane."""
    policy = shipped_policy()
    return policy.legs_through_hub if hub is not None else policy.legs_direct


def window_inputs(parcel: Parcel, days: tuple[date, ...]) -> list[WindowInput]:
    """One question per animal of the parcel: the parcel's verdict is the worst of its animals'."""
    here, policy = facility(), shipped_policy()
    zone = ZoneInfo(here.time_zone)
    cups = contents(parcel)
    animals = [cup.animal for cup in cups]
    weights = latest_weights([animal.pk for animal in animals])
    meals = last_meals_at([animal.pk for animal in animals])
    holds = holds_in_force(animals, clock.now())
    weather = newest_weather(places_of(parcel))
    buyer = parcel.order.buyer
    places = {"origin": origin_address(here), "counter": counter_address(parcel)}
    if buyer.state:
        places["buyer"] = Address(buyer.postcode, buyer.city, buyer.county, buyer.state, buyer.country)
    found = []
    for animal in animals:
        numbers = profile_numbers(animal.species)
        missing = [key for key in BAND_KEYS if key not in numbers]
        weight = weights.get(animal.pk)
        if missing:
            found.append(
                WindowInput(animal, None, f"{animal.species} has no profile for shipping: a person reviews it.")
            )
            continue
        if weight is None:
            found.append(WindowInput(animal, None, f"{animal.code} has no weight: weigh it first."))
            continue
        words = {HoldWord(hold.word) for hold in holds.get(animal.pk, [])}
        meal = meals.get(animal.pk)
        question = ShipQuestion(
            consignment=Consignment(animal.species.scientific),
            animal=AnimalFacts(
                weight_g=weight.mass_g,
                meal_hold_h=_meal_hold_h(numbers),
                last_meal_on=clock.local(meal).date() if meal is not None else None,
                in_shed=HoldWord.OPAQUE in words,
                health_hold=bool(words & HEALTH_WORDS),
            ),
            band=Band(*(numbers[key] for key in BAND_KEYS)),
            places=places,
            days=days,
            hour_zero={day: datetime.combine(day, policy.hand_over, tzinfo=zone).astimezone(UTC) for day in days},
            legs=lane_legs(parcel.hub),
            weather=weather,
            as_of=clock.now(),
            seed=_seed(parcel),
            now_local=clock.local(clock.now()),
        )
        found.append(WindowInput(animal, question))
    return found


def days_ahead(count: int = 7) -> tuple[date, ...]:
    """Today and the days after it."""
    return tuple(clock.today() + timedelta(days=offset) for offset in range(count))


def input_hash(inputs: list[WindowInput]) -> str:
    """What the answer rests on: a repeat with the same facts and weather writes nothing."""
    hour = clock.now().replace(minute=0, second=0, microsecond=0)
    local = clock.local(hour)
    # within one hour the age of the forecast and the cut-off do not change the verdict enough to write it anew
    still = [replace(item.question, as_of=hour, now_local=local) if item.question else item.why_not for item in inputs]
    return hashlib.sha256(orjson.dumps([repr(item) for item in still])).hexdigest()


def finding_answer(day: DayVerdict) -> dict[str, object]:
    """One day's verdicts as they are kept."""
    return {
        name: {"verdict": finding.verdict, "reason": finding.reason, "citation": finding.citation}
        for name, finding in (
            ("law", day.law),
            ("animal", day.animal),
            ("calendar", day.calendar),
            ("weather", day.weather),
            ("physics", day.physics),
        )
    }


def _meal_hold_h(numbers: Mapping[str, float]) -> float:
    hours = numbers.get("hold.before_ship_meal_h")
    return hours if hours is not None else numbers["ready.last_meal_hold_days"] * 24.0


def _seed(parcel: Parcel) -> int:
    """From the parcel alone: a refresh with new weather meets the same draws."""
    return int.from_bytes(hashlib.sha256(parcel.ref.encode()).digest()[:8], "big")


def lane_states(parcel: Parcel) -> dict[str, str]:
    """The weather keys of a lane with the state of each place."""
    here = facility()
    found = {place_key(here.city, here.state, here.country): here.state}
    if parcel.hub is not None:
        found[place_key(parcel.hub.city, parcel.hub.state, parcel.hub.country)] = parcel.hub.state
    found[place_key(parcel.counter_city, parcel.counter_state, parcel.counter_country)] = parcel.counter_state
    return found
