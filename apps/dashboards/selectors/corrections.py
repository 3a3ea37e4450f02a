"""Corrections as people read them: each changed row in words, what else rests on the animals, what was put right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import QuerySet

from apps.accounts.choices import RowVerb
from apps.accounts.models import AuditRow, Correction
from apps.accounts.services import RowChange
from apps.animals.models import Animal, Fact, Hold, Placement
from apps.breeding.models import Lock, Scan, SeasonForecast, Visit
from apps.breeding.selectors.standing import scans_of, visits_with
from apps.care.models import Weight
from apps.care.selectors.standing import care_facts
from apps.care.selectors.timeline import KINDS, entry_of
from apps.core import clock
from apps.core.formats import DASH, day_text, mm_text
from apps.documents.models import Document
from apps.inventory.choices import OfferState
from apps.inventory.models import Offer, OrderLine
from apps.places.models import Tub
from apps.shipping.models import ParcelAnimal

SECTIONS = ("Entries", "Places", "Holds", "Season", "Lineage", "Sale", "Papers", "Record")
SECTION_OF = {
    "animals.placement": "Places",
    "animals.hold": "Holds",
    "breeding.season": "Season",
    "breeding.cycle": "Season",
    "breeding.seasonforecast": "Season",
    "animals.brood": "Lineage",
    "animals.sirecandidate": "Lineage",
    "animals.traitstatement": "Lineage",
    "hatchlings.identification": "Lineage",
    "hatchlings.hatch": "Lineage",
    "inventory.claim": "Sale",
    "inventory.offer": "Sale",
    "inventory.orderline": "Sale",
    "inventory.reservation": "Sale",
    "shipping.parcelanimal": "Sale",
    "documents.document": "Papers",
}
# columns that only repeat what another line says
Entry = Fact | Visit
LIVE_OFFERS = (OfferState.DRAFT, OfferState.LISTED)
QUIET = frozenset({"struck_by_id", "struck_reason", "closed_by_id", "lifted_by_id", "sire_settled_at", "rule_version"})
PARENTAGE = frozenset(
    {"dam_id", "sire_id", "brood_id", "egg_number", "egg_letter", "sire_settled_by_id", "sire_settled_why"}
)


@dataclass(frozen=True)
class Line:
    """One thing that changes: what it is, how it stood, how it will stand. ``key`` names an entry that may stay."""

    section: str
    words: str
    before: str
    after: str
    key: str = ""
    at: datetime | None = None


@dataclass(frozen=True)
class Rest:
    """Something that rests on what is put right: shown to be looked at, never changed by itself."""

    words: str
    path: str


@dataclass(frozen=True)
class Resting:
    """Offers, sold animals and papers that name these animals."""

    offers: tuple[Rest, ...]
    sold: tuple[Rest, ...]
    papers: tuple[Rest, ...]


def entries_of_animal(animal: Animal, since: datetime | None = None) -> list[Entry]:
    """Everything recorded of an animal that stands, oldest first: care, readings, visits begun since a moment."""
    found: list[Entry] = [*care_facts(animal, since=since), *scans_of(animal, since), *visits_with(animal, since)]
    return sorted(found, key=lambda entry: (moment_of(entry), entry_key(entry)))


def moment_of(entry: Entry) -> datetime:
    """When it was seen or began."""
    return entry.began_at if isinstance(entry, Visit) else entry.observed_at


def entry_key(entry: models.Model) -> str:
    """``weight-12``: how pages and the API name an entry."""
    return f"{entry._meta.model_name}-{entry.pk}"


def animal_words(entry: Fact | Visit) -> str:
    """Whose it is."""
    return str(entry) if isinstance(entry, Visit) else entry.animal.code


def moved_words(entry: Fact | Visit | Lock) -> str:
    """``512 g on 20 Mar 08:10``"""
    if isinstance(entry, Visit):
        until = f" to {moment_text(entry.ended_at)}" if entry.ended_at else ""
        return f"visit from {moment_text(entry.began_at)}{until}"
    if isinstance(entry, Lock):
        return f"lock seen on {moment_text(entry.seen_at)}"
    what = f"scan {mm_text(entry.mm)}" if isinstance(entry, Scan) else _care_words(entry)
    return f"{what} on {moment_text(entry.observed_at)}"


def moment_text(moment: datetime | None) -> str:
    """``14 Mar 10:20``"""
    return DASH if moment is None else f"{day_text(clock.local(moment))} {clock.local(moment):%H:%M}"


def lines_of(rows: Sequence[RowChange]) -> list[Line]:
    """Every changed row in words, by section; an entry struck out and made again is one line."""
    copies = {(r.table, r.after.get("moved_from_id")) for r in rows if r.verb == RowVerb.ADDED}
    replaced = {r.after["season_id"] for r in rows if r.table == "breeding.seasonforecast" and r.verb == RowVerb.ADDED}
    lines: list[Line] = []
    for row in rows:
        if row.verb == RowVerb.CHANGED and (row.table, row.key) in copies:
            continue
        lines += _line(row, replaced)
    return sorted(lines, key=lambda line: (SECTIONS.index(line.section), line.at.timestamp() if line.at else 0))


def _line(row: RowChange, replaced: set[int]) -> list[Line]:
    model = apps.get_model(row.table)
    if row.verb == RowVerb.ADDED and row.after.get("moved_from_id"):
        return [_moved(model, row)]
    if model is Placement:
        return [_stay(row)]
    if model is Hold:
        return [_hold(row)]
    if model is SeasonForecast:
        return _forecast(row, replaced)
    section = SECTION_OF.get(row.table, "Entries" if "struck_at" in row.after else "Record")
    if row.verb != RowVerb.CHANGED:
        there = model._default_manager.filter(pk=row.key).first()
        name = f"{model._meta.verbose_name} {there}" if there is not None else f"{model._meta.verbose_name}"
        state = ("there", "no longer needed") if row.verb == RowVerb.REMOVED else (DASH, "added")
        return [Line(section, name, *state)]
    return _columns(model, row, section)


def _moved(model: type[models.Model], row: RowChange) -> Line:
    made: Any = model._default_manager.get(pk=row.key)
    old = made.moved_from
    section = "Entries"
    if isinstance(made, Visit):
        return Line(section, moved_words(made), str(old), str(made), entry_key(old), made.began_at)
    if isinstance(made, Lock):
        return Line(section, moved_words(made), str(old.visit), str(made.visit), at=made.seen_at)
    key = "" if row.table in {"care.mealcheck", "care.dose"} else entry_key(old)
    return Line(section, moved_words(made), old.animal.code, made.animal.code, key, made.observed_at)


def _stay(row: RowChange) -> Line:
    if row.verb == RowVerb.REMOVED:
        animal = Animal.objects.get(pk=row.before["animal_id"])
        tub = Tub.objects.get(pk=row.before["tub_id"])
        return Line("Places", f"{animal} in {tub}", _span(row.before), "not there")
    stay = Placement.objects.select_related("animal", "tub").get(pk=row.key)
    span = _span({"since": stay.since.isoformat(), "until": stay.until.isoformat() if stay.until else None})
    if row.verb == RowVerb.ADDED:
        return Line("Places", str(stay), DASH, span)
    before = {"since": stay.since.isoformat(), "until": stay.until.isoformat() if stay.until else None} | dict(
        row.before
    )
    return Line("Places", str(stay), _span(before), span)


def _span(columns: Any) -> str:
    since = moment_text(datetime.fromisoformat(columns["since"]))
    until = columns["until"]
    return f"{since} to {moment_text(datetime.fromisoformat(until))}" if until else f"since {since}"


def _hold(row: RowChange) -> Line:
    hold = Hold.objects.select_related("animal").get(pk=row.key)
    until = f"until {moment_text(hold.ends_at)}" if hold.ends_at else "until lifted"
    name = f"{hold.animal}: {hold.word}"
    if row.verb == RowVerb.ADDED:
        return Line("Holds", name, DASH, until)
    if "lifted_at" in row.after:
        return Line("Holds", name, until, "lifted" if hold.lifted_at else until)
    return Line("Holds", f"{hold.word} hold", _value(Hold, "animal_id", row.before.get("animal_id")), str(hold.animal))


def _forecast(row: RowChange, replaced: set[int]) -> list[Line]:
    made = SeasonForecast.objects.select_related("season__female").get(pk=row.key)
    if row.verb == RowVerb.CHANGED:
        return (
            []
            if made.season_id in replaced
            else [Line("Season", f"what is expected of {made.season}", "current", "past")]
        )
    last = SeasonForecast.objects.filter(season=made.season_id).exclude(pk=made.pk).order_by("-made_at", "-pk").first()
    before = _expected(last) if last is not None else DASH
    return [Line("Season", f"what is expected of {made.season}", before, _expected(made))]


def _expected(row: SeasonForecast) -> str:
    window = ""
    if row.ovulation_p10 is not None and row.ovulation_p90 is not None:
        window = f", ovulation {day_text(row.ovulation_p10)} to {day_text(row.ovulation_p90)}"
    due = f", scan by {day_text(row.next_scan_on)}" if row.next_scan_on else ""
    return f"{row.stage}{window}{due}"


def _columns(model: type[models.Model], row: RowChange, section: str) -> list[Line]:
    there = model._default_manager.filter(pk=row.key).first()
    found: list[Line] = []
    for name, value in row.after.items():
        if name in QUIET:
            continue
        column = next(c for c in model._meta.concrete_fields if c.attname == name)
        words = f"{there}: {column.verbose_name}" if there is not None else str(column.verbose_name)
        place = section
        if model is Animal:
            place = "Lineage" if name in PARENTAGE or name == "traits" else "Places" if name == "tub_id" else "Record"
        found.append(Line(place, words, _value(model, name, row.before.get(name)), _value(model, name, value)))
    return found


def _value(model: type[models.Model], name: str, value: Any) -> str:
    """A column's value as a person reads it."""
    if value is None or value == "":
        return DASH
    column: Any = next(c for c in model._meta.concrete_fields if c.attname == name)
    if column.is_relation:
        there = column.related_model._default_manager.filter(pk=value).first()
        return str(there) if there is not None else DASH
    if isinstance(column, models.DateTimeField):
        return moment_text(datetime.fromisoformat(value))
    if isinstance(column, models.DateField):
        return day_text(date.fromisoformat(value), year=True)
    if isinstance(value, list):
        return ", ".join(str(item) for item in value) or DASH
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)


def _care_words(fact: Fact) -> str:
    words = entry_of(fact).words if (fact._meta.model_name or "") in KINDS else str(fact)
    return f"weight {words}" if isinstance(fact, Weight) else words


def resting_on(animals: Iterable[Animal]) -> Resting:
    """What was offered, sold or printed of these animals; three queries whatever their number."""
    rows = list({animal.pk: animal for animal in animals}.values())
    keys, refs = [animal.pk for animal in rows], [animal.ref for animal in rows]
    live = Offer.objects.filter(animal__in=keys, state__in=LIVE_OFFERS).select_related("animal")
    offers = tuple(_offered(offer) for offer in live.order_by("animal__code_key"))
    lines = OrderLine.objects.filter(animal__in=keys, cancelled_at__isnull=True).select_related("animal", "order")
    sold = tuple(_sold(line) for line in lines.order_by("order__number", "animal__code_key"))
    parcels = ParcelAnimal.objects.filter(animal__in=keys, removed_at__isnull=True).values("parcel__ref")
    printed = Document.objects.filter(
        models.Q(subject_kind="animal", subject_ref__in=refs)
        | models.Q(subject_kind="parcel", subject_ref__in=parcels),
        voided_at__isnull=True,
    ).exclude(kind="photo")
    papers = tuple(_printed(paper) for paper in printed.order_by("-made_at", "-pk"))
    return Resting(offers, sold, papers)


def _offered(offer: Offer) -> Rest:
    state = "on offer" if offer.state == OfferState.LISTED else "in a draft offer"
    return Rest(f"{offer.animal.code} is {state}{_as(offer.wording)}", f"/stock/offers/{offer.ref}/")


def _sold(line: OrderLine) -> Rest:
    words = f"{line.animal.code} is sold in {line.order} ({line.order.state}){_as(line.wording)}"
    return Rest(words, f"/stock/orders/{line.order.ref}/")


def _as(wording: str) -> str:
    return f" as “{wording}”" if wording else ""


def _printed(paper: Document) -> Rest:
    on = day_text(clock.local(paper.made_at), year=True)
    return Rest(f"{paper.kind} “{paper.label}” of {on}", f"/documents/{paper.ref}/")


def corrections() -> QuerySet[Correction]:
    """Every correction, newest first."""
    return Correction.objects.select_related("by", "undone_by").order_by("-at", "-pk")


def corrections_of(animal: Animal) -> list[Correction]:
    """What was put right of one animal, newest first."""
    trail = AuditRow.objects.filter(kind="animal", subject_ref=animal.ref, act__startswith="correction.")
    refs = [detail.get("correction") for detail in trail.values_list("detail", flat=True)]
    return list(corrections().filter(ref__in=[ref for ref in refs if ref]))
