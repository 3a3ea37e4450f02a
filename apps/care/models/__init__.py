"""Tables of care, by what they are for."""

from apps.care.models.daily import CareMark, Condition, MealCheck, MealOffer, Photo, SeasonWord, Shed, Weight
from apps.care.models.devices import KeptEntry, SentEntry
from apps.care.models.health import Dose, DoseDue, HealthNote, HealthTest, Treatment
from apps.care.models.work import (
    BacklogReset,
    CareCount,
    CareRound,
    CareSkip,
    CareState,
    CareTally,
    LastLook,
    RoundClaim,
    Task,
    TaskDue,
)

__all__ = [
    "BacklogReset",
    "CareCount",
    "CareMark",
    "CareRound",
    "CareSkip",
    "CareState",
    "CareTally",
    "Condition",
    "Dose",
    "DoseDue",
    "HealthNote",
    "HealthTest",
    "KeptEntry",
    "LastLook",
    "MealCheck",
    "MealOffer",
    "Photo",
    "RoundClaim",
    "SeasonWord",
    "SentEntry",
    "Shed",
    "Task",
    "TaskDue",
    "Treatment",
    "Weight",
]
