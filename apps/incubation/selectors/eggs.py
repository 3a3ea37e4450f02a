"""Reads of eggs, boxes and hatch windows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db.models import Count, Max, Prefetch, Q, QuerySet

from apps.animals.choices import BroodState
from apps.animals.models import Brood, SireCandidate
from apps.animals.selectors import profile_numbers
from apps.core import clock
from apps.incubation.choices import EggState
from apps.incubation.models import Box, Egg, EggCheck, HatchForecast
from apps.places.models import Incubator

# where a notation goes on from what is seen to what is carried
_HET = re.compile(r"\s*(?:\d+(?:[.,]\d+)?\s?% )?(?:(?:double|triple) )?\bhet\b")


def broods_live() -> QuerySet[Brood]:
    """Broods whose story goes on, oldest first."""
    return Brood.objects.exclude(state=BroodState.CLOSED).select_related("dam__species", "species").order_by("on")


def eggs_of(brood: Brood) -> QuerySet[Egg]:
    """The eggs of a brood in order."""
    return Egg.objects.filter(brood=brood).select_related("box__incubator", "brood").order_by("number")


def boxes_live() -> QuerySet[Box]:
    """Boxes in an incubator with their eggs and the slugs of their brood, oldest brood first."""
    slugs = Count("brood__via_incubation_eggs", filter=Q(brood__via_incubation_eggs__state=EggState.SLUG))
    return (
        Box.objects.filter(removed_at__isnull=True)
        .annotate(slugs=slugs)
        .select_related("brood__dam__species", "brood__species", "incubator__room")
        .prefetch_related(Prefetch("eggs", Egg.objects.order_by("number")))
        .order_by("brood__on", "code")
    )


def last_checks(boxes: Iterable[Box]) -> dict[int, datetime]:
    """When the eggs of each box were last looked at, by box id."""
    rows = EggCheck.objects.filter(egg__box__in=[box.pk for box in boxes]).values("egg__box").annotate(last=Max("at"))
    return {row["egg__box"]: row["last"] for row in rows}


def masses_of(boxes: Iterable[Box]) -> dict[int, tuple[float, float]]:
    """First and last mass of each weighed egg, by egg id; the mass at collection comes first."""
    found: dict[int, tuple[float, float]] = {}
    for box in boxes:
        found.update({egg.pk: (g, g) for egg in box.eggs.all() if (g := egg.mass_g) is not None})
    checks = EggCheck.objects.filter(egg__box__in=[box.pk for box in boxes], mass_g__isnull=False).order_by("at")
    for egg_id, mass_g in checks.values_list("egg", "mass_g"):
        if mass_g is not None:
            found[egg_id] = (found.get(egg_id, (mass_g, mass_g))[0], mass_g)
    return found


def short_look(traits: str, *, carrier: str = "het") -> str:
    """What is seen, without what is carried: ``Lesser`` of ``Lesser 50% het Ghost``; a normal carrier is ``het``."""
    look, *carried = _HET.split(traits.strip(), maxsplit=1)
    if look.casefold() in {"", "normal"}:
        return carrier if carried else "normal"
    return look


def sire_words(broods: Iterable[Brood]) -> dict[int, str]:
    """The looks of the males that may have sired each brood, most likely first: ``Pied``, ``Pied or Clown``."""
    rows = SireCandidate.objects.filter(brood__in=[brood.pk for brood in broods], male__isnull=False)
    found: dict[int, list[str]] = {}
    for row in rows.select_related("male").order_by("-prior"):
        assert row.male is not None
        words = found.setdefault(row.brood_id, [])
        name = short_look(row.male.traits)
        if name not in words:
            words.append(name)
    return {pk: " or ".join(words) for pk, words in found.items()}


def boxes_of(brood: Brood) -> QuerySet[Box]:
    """Every placement of a brood's eggs."""
    return Box.objects.filter(brood=brood).select_related("incubator").order_by("set_at")


def forecasts_current(broods: Iterable[Brood]) -> dict[int, HatchForecast]:
    """The hatch window of each brood, by brood id."""
    found = HatchForecast.objects.filter(brood__in=[brood.pk for brood in broods], is_current=True)
    return {row.brood_id: row for row in found}


def counts_of(broods: Iterable[Brood]) -> dict[int, dict[str, int]]:
    """Eggs by state for each brood, in one query."""
    rows = Egg.objects.filter(brood__in=[b.pk for b in broods]).values("brood", "state").annotate(n=Count("pk"))
    found: dict[int, dict[str, int]] = {}
    for row in rows:
        found.setdefault(row["brood"], {})[row["state"]] = row["n"]
    return found


def eggs_in(incubator: Incubator) -> int:
    """How many eggs an incubator holds."""
    return Egg.objects.filter(
        box__incubator=incubator, box__removed_at__isnull=True, state__in=[EggState.IN_BOX, EggState.PIPPING]
    ).count()


def checks_due(on: date | None = None) -> list[Box]:
    """Live boxes whose eggs were not looked at for the days their species asks for; without a rule none is due."""
    day, days = on or clock.today(), {}
    due: list[Box] = []
    for box in boxes_live().annotate(last_check=Max("eggs__checks__at")):
        species = box.brood.species
        if species.pk not in days:
            days[species.pk] = profile_numbers(species).get("incubation.check_days")
        limit = days[species.pk]
        if limit is not None and clock.day_of(box.last_check or box.set_at) + timedelta(days=limit) <= day:
            due.append(box)
    return due


def broods_to_hatch() -> QuerySet[Brood]:
    """Broods with living eggs in boxes."""
    living = [EggState.IN_BOX, EggState.PIPPING]
    return (
        broods_live()
        .annotate(living=Count("via_incubation_eggs", filter=Q(via_incubation_eggs__state__in=living)))
        .filter(living__gt=0)
    )


def next_box_code() -> str:
    """``B-031``: the number after the highest ever used."""
    highest = 0
    for code in Box.objects.filter(code__startswith="B-").values_list("code", flat=True):
        if code[2:].isdigit():
            highest = max(highest, int(code[2:]))
    return f"B-{highest + 1:03d}"
