"""Everything of one animal, read across the house in a fixed number of queries."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, Q

from apps.accounts.choices import Permission
from apps.accounts.models import AuditRow, Person
from apps.accounts.policies import may
from apps.accounts.selectors import audit_trail
from apps.animals.choices import Sex
from apps.animals.models import Animal, Brood, Hold, Placement, TraitStatement
from apps.animals.selectors import holds_in_force
from apps.breeding.models import Lock, Season, SeasonForecast, Visit
from apps.care.models import Condition, HealthNote, Shed, Weight
from apps.care.selectors import Meal, latest_weight, meals_of, open_health_notes
from apps.care.selectors.timeline import Entry, entries_of
from apps.core import clock
from apps.documents.models import Document
from apps.documents.policies import readable
from apps.documents.selectors import documents_of
from apps.hatchlings.models import Hatch, Identification, Readiness
from apps.inventory.models import Offer, OrderLine, Reservation
from apps.shipping.models import ParcelAnimal

MEALS_SHOWN = 12
AUDIT_SHOWN = 40
VISITS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One visit with how many locks were seen."""

    visit: Visit
    partner: Animal
    locks: int


@dataclass(slots=True)
class WholeAnimal:
    """What the page is made of."""

    animal: Animal
    as_of: date
    weight: Weight | None = None
    weights: list[Weight] = field(default_factory=list)
    meals: list[Meal] = field(default_factory=list)
    sheds: list[Shed] = field(default_factory=list)
    shape: Condition | None = None
    open_notes: list[HealthNote] = field(default_factory=list)
    entries: list[Entry] = field(default_factory=list)
    holds: list[Hold] = field(default_factory=list)
    statements: list[TraitStatement] = field(default_factory=list)
    placements: list[Placement] = field(default_factory=list)
    broods: list[tuple[Brood, int]] = field(default_factory=list)
    young_count: int = 0
    season: Season | None = None
    forecast: SeasonForecast | None = None
    past_seasons: list[Season] = field(default_factory=list)
    visits: list[VisitRow] = field(default_factory=list)
    hatch: Hatch | None = None
    readiness: Readiness | None = None
    identification: Identification | None = None
    offers: list[Offer] = field(default_factory=list)
    reservations: list[Reservation] = field(default_factory=list)
    lines: list[OrderLine] = field(default_factory=list)
    parcels: list[ParcelAnimal] = field(default_factory=list)
    documents: list[Document] = field(default_factory=list)
    audit: list[AuditRow] = field(default_factory=list)

    @property
    def last_meal(self) -> Meal | None:
        """The newest meal."""
        return self.meals[0] if self.meals else None

    @property
    def stage(self) -> str:
        """Her stage as the current forecast says; empty for everybody else."""
        return self.forecast.stage if self.forecast else ""


def animal_by_ref(ref: str) -> Animal | None:
    """The animal of a page with two generations of parents, in one query."""
    return (
        Animal.objects.filter(ref=ref)
        .select_related(
            "species",
            "tub__rack__room__site",
            "brood",
            "dam__dam",
            "dam__sire",
            "sire__dam",
            "sire__sire",
            "sire_settled_by",
            "merged_into",
        )
        .first()
    )


def whole_animal(animal: Animal, person: Person) -> WholeAnimal:
    """Gather the page; what this person may not see (buyers, prices) is not even read."""
    page = WholeAnimal(animal=animal, as_of=clock.today())
    _care(page)
    page.holds = list(holds_in_force([animal], clock.now()).get(animal.pk, []))
    page.statements = list(animal.trait_statements.select_related("by").order_by("-stated_at", "-pk")[:10])
    page.placements = list(animal.placements.select_related("tub__rack__room", "by").order_by("-since")[:10])
    _lineage(page)
    _season(page)
    page.hatch = Hatch.objects.filter(animal=animal).select_related("egg", "by").first()
    page.readiness = Readiness.objects.filter(animal=animal).first()
    page.identification = Identification.objects.filter(animal=animal).order_by("-at", "-pk").first()
    _sale(page, person)
    page.documents = list(readable(person, documents_of("animal", animal.ref)).select_related("by")[:30])
    page.audit = list(audit_trail("animal", animal.ref)[:AUDIT_SHOWN])
    return page


def _care(page: WholeAnimal) -> None:
    animal = page.animal
    page.weight = latest_weight(animal)
    page.weights = list(Weight.objects.filter(animal=animal, struck_at__isnull=True).order_by("observed_at", "pk"))
    page.meals = meals_of([animal.pk]).get(animal.pk, [])[::-1][:MEALS_SHOWN]
    page.sheds = list(Shed.objects.filter(animal=animal, struck_at__isnull=True).order_by("-observed_at", "-pk")[:8])
    page.shape = Condition.objects.filter(animal=animal, struck_at__isnull=True).order_by("-observed_at", "-pk").first()
    page.open_notes = list(open_health_notes().filter(animal=animal))
    page.entries = entries_of(animal, limit=40)


def _lineage(page: WholeAnimal) -> None:
    animal = page.animal
    if animal.sex != Sex.MALE:
        rows = animal.broods.annotate(young=Count("animals")).order_by("-on")
        page.broods = [(brood, brood.young) for brood in rows]
    page.young_count = Animal.objects.filter(Q(dam=animal) | Q(sire=animal)).count()


def _season(page: WholeAnimal) -> None:
    animal = page.animal
    if animal.sex == Sex.MALE:
        visits = Visit.objects.filter(male=animal, struck_at__isnull=True).select_related("female")
    else:
        visits = Visit.objects.filter(female=animal, struck_at__isnull=True).select_related("male")
        seasons = list(Season.objects.filter(female=animal).order_by("-year"))
        if seasons:
            page.season, page.past_seasons = seasons[0], seasons[1:5]
            page.forecast = SeasonForecast.objects.filter(season=seasons[0], is_current=True).first()
            visits = visits.filter(season=seasons[0])
    rows = list(visits.order_by("-began_at")[:VISITS_SHOWN])
    locks = dict(
        Lock.objects.filter(visit__in=rows, struck_at__isnull=True).values_list("visit").annotate(number=Count("pk"))
    )
    page.visits = [
        VisitRow(row, row.female if animal.sex == Sex.MALE else row.male, locks.get(row.pk, 0)) for row in rows
    ]


def _sale(page: WholeAnimal, person: Person) -> None:
    animal = page.animal
    page.parcels = list(
        ParcelAnimal.objects.filter(animal=animal, removed_at__isnull=True).select_related("parcel").order_by("-pk")
    )
    if not may(person, Permission.MONEY_READ):
        return
    page.offers = list(Offer.objects.filter(animal=animal).select_related("by").order_by("-made_at")[:10])
    page.reservations = list(
        Reservation.objects.filter(offer__animal=animal, state__in=["open", "waiting"])
        .select_related("buyer")
        .order_by("made_at")
    )
    page.lines = list(
        OrderLine.objects.filter(animal=animal).select_related("order__buyer").order_by("-order__made_at")[:10]
    )
