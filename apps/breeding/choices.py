"""Words of the season."""

from __future__ import annotations

from django.db.models import TextChoices


class SeasonState(TextChoices):
    """A female's season, from its latest cycle."""

    OPEN = "open"
    RESTED = "rested"
    LAID = "laid"
    REGRESSED = "regressed"
    CLOSED = "closed"


class CycleStep(TextChoices):
    """How far one cycle has come, read from its dates."""

    GROWING = "growing"
    OVULATED = "ovulated"
    SHED = "pre-lay shed seen"
    LAID = "laid"
    REGRESSED = "regressed"


class CycleFact(TextChoices):
    """What a person may take back from a cycle."""

    OVULATION = "ovulation"
    SHED = "pre-lay shed"
    REGRESSION = "regression"


class Stage(TextChoices):
    """Stages shown (decisions: from the engine and the facts, never typed)."""

    PREVITELLOGENIC = "previtellogenic"
    VITELLOGENIC = "vitellogenic"
    PREOVULATORY = "preovulatory"
    OVULATED = "ovulated"
    GRAVID = "gravid"
    LAID = "laid"
    REGRESSING = "regressing"
    GROWTH_IN_DOUBT = "growth in doubt"
    RESTING = "resting"


class Side(TextChoices):
    """Which ovary the reading is from."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


class NoReading(TextChoices):
    """Why a female of the round has no reading."""

    HOLD = "hold"
    NOT_FOUND = "nothing seen"
    AGGRESSIVE = "would not settle"
    ABSENT = "not in her tub"
    OTHER = "other"


class WishKind(TextChoices):
    """What a person asks of the rota."""

    PIN = "pin"
    VETO = "veto"


# Advice is an imperative of two or three words; the keys are the engine's acts.
ACT_WORDS: dict[str, str] = {
    "see_vet": "See a vet",
    "expect_eggs": "Expect eggs",
    "expect_shed": "Expect pre-lay shed",
    "expect_ovulation": "Expect ovulation",
    "stop_pairing": "Stop pairing",
    "scan_again": "Scan again",
    "rest": "Rest this season",
    "weigh_and_feed": "Weigh, offer food",
    "pause_pairing": "Pause pairing",
    "feed_up": "Feed up",
    "begin_pairing": "Begin pairing",
    "pair_more": "Pair more",
    "pair_less": "Pair less",
    "keep_pairing": "Keep pairing",
    "expect_fasting": "Expect fasting",
    "wait": "Wait",
}


def act_word(act: str) -> str:
    """``stop_pairing`` as people read it."""
    return ACT_WORDS.get(act, act.replace("_", " ").capitalize())
