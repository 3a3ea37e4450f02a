"""Words of daily care."""

from __future__ import annotations

from django.db.models import TextChoices


class MealOutcome(TextChoices):
    """What became of an offered meal."""

    ATE = "ate"
    LEFT = "left"
    REGURGITATED = "regurgitated"


class PreyKind(TextChoices):
    """What is offered."""

    RAT = "rat"
    MOUSE = "mouse"
    CHICK = "chick"
    INSECT = "insect"
    OTHER = "other"


class Presentation(TextChoices):
    """How it is offered. Live prey is never left unattended."""

    THAWED = "thawed"
    FRESH = "fresh-killed"
    LIVE = "live"


class Vigour(TextChoices):
    """How it took the meal."""

    STRONG = "strong"
    SLOW = "slow"
    COAXED = "coaxed"


class ShedStage(TextChoices):
    """Opaque (eyes clouded) or shed."""

    OPAQUE = "opaque"
    SHED = "shed"


class MarkKind(TextChoices):
    """Small daily acts."""

    WATER = "water"
    CLEANED = "cleaned"
    DROPPINGS = "droppings"


class BodyShape(TextChoices):
    """Condition as seen."""

    THIN = "thin"
    FIT = "fit"
    FILLING = "filling"
    HEAVY = "heavy"


class HealthSign(TextChoices):
    """Signs from a list, for searching; words of the person stand beside them."""

    NOT_EATING = "not eating"
    WEIGHT_LOSS = "weight loss"
    REGURGITATION = "regurgitation"
    WHEEZE = "wheeze or bubbles"
    MITES = "mites"
    STUCK_SHED = "stuck shed"
    WOUND = "wound or burn"
    SWELLING = "swelling"
    STRAINING = "straining"
    WOBBLE = "wobble"
    LIMP = "weak or limp"
    OTHER = "other"


class KeptDecision(TextChoices):
    """What became of an entry that was kept for a decision."""

    RECORDED = "recorded"
    DISCARDED = "discarded"


class SampleKind(TextChoices):
    """What was taken or done for a test; what it means is the laboratory's and the veterinarian's to say."""

    DROPPINGS = "droppings"
    SWAB = "swab"
    BLOOD = "blood"
    SKIN = "skin"
    IMAGE = "X-ray or ultrasound"
    OTHER = "other"


class HealthResult(TextChoices):
    """What came back."""

    WAITING = "waiting"
    NEGATIVE = "negative"
    POSITIVE = "positive"
    UNCLEAR = "unclear"


class DoseOutcome(TextChoices):
    """What became of a dose."""

    GIVEN = "given"
    SKIPPED = "skipped"


class TreatmentEnd(TextChoices):
    """Why a treatment is over."""

    FINISHED = "course finished"
    STOPPED = "veterinarian stopped it"
    REPLACED = "replaced by another"
    OTHER = "other"


class StrikeReason(TextChoices):
    """Why an entry is struck out."""

    WRONG_ANIMAL = "wrong animal"
    WRONG_VALUE = "wrong value"
    TWICE = "entered twice"
    OTHER = "other"


class DueKind(TextChoices):
    """Work that falls due on an animal, in the order it is done at a tub."""

    DOSE = "dose"
    CHECK = "check"
    OFFER = "offer"
    WEIGH = "weigh"
    SHED = "shed"
    WATER = "water"
    CLEANED = "clean"
    SHAPE = "body shape"


class SkipReason(TextChoices):
    """Why due work was left today."""

    OPAQUE = "eyes clouded"
    JUST_FED = "just fed"
    HELD = "held"
    NO_TIME = "no time"
    NOTHING_LEFT = "nothing left to give"
    NOT_IN_TUB = "not in its tub"
    TWO_NEEDED = "needs two persons"
    OTHER = "other"


class RoundState(TextChoices):
    """A round in a room is being walked, or handed over."""

    OPEN = "open"
    CLOSED = "closed"


class TaskKind(TextChoices):
    """What a task is about; water and cleaning are also written to the animals of its place."""

    WATER = "water"
    CLEANING = "cleaning"
    HEAT = "rack heat"
    OTHER = "other"


class TaskState(TextChoices):
    """One time a task fell due."""

    OPEN = "open"
    DONE = "done"
    SKIPPED = "skipped"
