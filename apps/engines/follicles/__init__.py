"""Follicle growth of one season: where she stands, what comes when, and what to do next."""

from .answer import ACTS, ENGINE_VERSION, VISIT_ACTS, Advice, DateInterval, Fan, Interval, Reach, SeasonForecast
from .answer import StateShares as StateShares
from .facts import CONDITION_WORDS, HOLD_WORDS, VIGOUR_WORDS, Condition, Meal, Scan, SeasonFacts, Visit, Weight
from .fan import forecast_fan, forecast_fans
from .filtering import DeadlineExceeded
from .forecast import season_forecast, season_forecasts
from .gate import Barrier, barriers
from .judgement import ReadingJudgement, judge_reading
from .learn import Learned, LearnRules, learn_rules, learned_numbers
from .past import PastSeason, Refused, Spell
from .profile import FollicleProfile, profile_from_numbers
from .replay import LEVELS, Replay, Scored, replay
from .score import Line, Report, summed_up
from .season import season_opening

__all__ = [
    "ACTS",
    "CONDITION_WORDS",
    "ENGINE_VERSION",
    "HOLD_WORDS",
    "LEVELS",
    "VIGOUR_WORDS",
    "VISIT_ACTS",
    "Advice",
    "Barrier",
    "Condition",
    "DateInterval",
    "DeadlineExceeded",
    "Fan",
    "FollicleProfile",
    "Interval",
    "LearnRules",
    "Learned",
    "Line",
    "Meal",
    "PastSeason",
    "Reach",
    "ReadingJudgement",
    "Refused",
    "Replay",
    "Report",
    "Scan",
    "Scored",
    "SeasonFacts",
    "SeasonForecast",
    "Spell",
    "StateShares",
    "Visit",
    "Weight",
    "barriers",
    "forecast_fan",
    "forecast_fans",
    "judge_reading",
    "learn_rules",
    "learned_numbers",
    "profile_from_numbers",
    "replay",
    "season_forecast",
    "season_forecasts",
    "season_opening",
    "summed_up",
]
