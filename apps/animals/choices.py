"""Words of animals."""

from __future__ import annotations

from django.db.models import TextChoices


class Sex(TextChoices):
    """Printed as a word, always."""

    MALE = "male"
    FEMALE = "female"
    UNKNOWN = "unknown"


class Status(TextChoices):
    """Where an animal's story stands."""

    HERE = "here"
    LOANED = "loaned"
    MISSING = "missing"
    SOLD = "sold"
    GIVEN_AWAY = "given away"
    DEAD = "dead"
    # a record, not an animal: it was recorded twice and lives on under its other code
    MERGED = "merged"


# For lists read from another table with its own condition: nearly everybody is here, so a database without counts of
# its rows must not be led to go through the animals first. ``exclude(animal__status__in=NOT_HERE)`` no index serves.
NOT_HERE = tuple(status for status in Status if status != Status.HERE)


class Origin(TextChoices):
    """Where it came from."""

    BRED_HERE = "bred here"
    ACQUIRED = "acquired"
    UNKNOWN = "unknown"


class Purpose(TextChoices):
    """What it is kept for."""

    BREEDER = "breeder"
    HOLDBACK = "holdback"
    STOCK = "stock"


class SexSystem(TextChoices):
    """How sex is set."""

    XY = "XY"
    ZW = "ZW"
    TSD = "TSD"


class Mode(TextChoices):
    """Eggs or live birth."""

    EGGS = "eggs"
    LIVE = "live"


class BroodKind(TextChoices):
    """A clutch of eggs or a litter born live."""

    CLUTCH = "clutch"
    LITTER = "litter"


class BroodState(TextChoices):
    """A brood's story."""

    LAID = "laid"
    INCUBATING = "incubating"
    HATCHING = "hatching"
    CLOSED = "closed"


class SireModel(TextChoices):
    """One sire (perhaps unknown which), several sires, or nothing known."""

    ONE = "one"
    MIXED = "mixed"
    UNKNOWN = "unknown"


class SireHypothesis(TextChoices):
    """What may have sired a brood."""

    MALE = "male"
    STORED = "stored"
    PARTHENOGENESIS = "parthenogenesis"
    OTHER = "other"


class HoldWord(TextChoices):
    """Why an animal is not to be handled, fed, moved, sold or shipped for a time."""

    QUARANTINE = "quarantine"
    TREATMENT = "treatment"
    DISEASE = "disease"
    REGURGITATION = "regurgitation"
    INJURY = "injury"
    OPAQUE = "opaque"
    FED = "fed"
    OVULATED = "ovulated"
    RECOVERY = "recovery"
    FEEDING_STOPPED = "feeding stopped"


# These end by an act of somebody who may, never by silence: they are placed without an end.
ENDED_BY_PEOPLE = frozenset({HoldWord.QUARANTINE, HoldWord.DISEASE})
# Fed, opaque and ovulated follow from what was recorded; these a person says.
SET_BY_HAND: list[HoldWord] = [
    HoldWord.QUARANTINE,
    HoldWord.TREATMENT,
    HoldWord.DISEASE,
    HoldWord.INJURY,
    HoldWord.RECOVERY,
    HoldWord.FEEDING_STOPPED,
]


class Decision(TextChoices):
    """What a bought animal stays for, once its time of looking is over."""

    KEEP = "keep"
    SELL = "sell"


class NumberOrigin(TextChoices):
    """A number as shipped, as the facility's own records have it, or as the house set it; the later wins."""

    SHIPPED = "shipped"
    RECORDS = "records"
    HOUSE = "house"


class TraitBasis(TextChoices):
    """What a statement about an animal's genes rests on."""

    SEEN = "seen"
    DECLARED = "declared"
    PARENTS = "parents"
    PROVEN = "proven"


class HandlingAct(TextChoices):
    """What somebody wants to do with an animal; check_handling judges it against the holds in force."""

    SCAN = "scan"
    VISIT = "visit"
    WEIGH = "weigh"
    MOVE = "move"
    FEED = "feed"
    SELL = "sell"
    SHIP = "ship"


class CatalogueEditKind(TextChoices):
    """What the house adds to a trait catalogue."""

    TRAIT = "trait"
    PAIR = "pair", "name of a pair"
    WELFARE = "welfare", "welfare fact"
