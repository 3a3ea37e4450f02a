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
