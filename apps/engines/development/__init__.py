"""Egg development over real incubator traces: hatch windows, equivalent temperature, share of males in geckos."""

from .excursions import Excursion, excursions
from .forecast import (
    ENGINE_VERSION,
    DateInterval,
    DevelopmentError,
    DevelopmentForecast,
    Reading,
    forecast_constant,
    forecast_trace,
)
from .profile import DevelopmentProfile, SexRow, profile_from_numbers
from .rate import rate_per_day, temperature_for_rate
from .sex import MaleShare, male_share

__all__ = [
    "ENGINE_VERSION",
    "DateInterval",
    "DevelopmentError",
    "DevelopmentForecast",
    "DevelopmentProfile",
    "Excursion",
    "MaleShare",
    "Reading",
    "SexRow",
    "excursions",
    "forecast_constant",
    "forecast_trace",
    "male_share",
    "profile_from_numbers",
    "rate_per_day",
    "temperature_for_rate",
]
