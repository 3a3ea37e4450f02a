"""What goes in and what comes out."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from apps.animals.models import Animal
from apps.animals.selectors import record_of
from apps.breeding.choices import ACT_WORDS, CycleFact, NoReading, Side
from apps.breeding.models import (
    AdviceOverride,
    Cycle,
    Lock,
    Scan,
    ScanRound,
    ScanRoundLine,
    Season,
    SeasonForecast,
    Visit,
)
from apps.core.errors import Invalid


def animal_by_ref(ref: str, *, field: str) -> Animal:
    """The animal a request names. Raises Invalid naming ``field``."""
    found = Animal.objects.select_related("species", "tub__rack__room").filter(ref=ref).first()
    if found is None:
        raise Invalid(f"There is no animal with the ref “{ref}”.", field=field)
    return record_of(found)


class ForecastOut(serializers.ModelSerializer[Any]):
    """What the engine said, whole."""

    class Meta:
        model = SeasonForecast
        fields = [
            "as_of",
            "made_at",
            "engine_version",
            "stage",
            "act",
            "mm_now",
            "growth_p10",
            "growth_p50",
            "growth_p90",
            "ovulation_p10",
            "ovulation_p50",
            "ovulation_p90",
            "laying_p10",
            "laying_p50",
            "laying_p90",
            "next_scan_on",
            "answer",
        ]


class CycleOut(serializers.ModelSerializer[Any]):
    """One cycle."""

    season = serializers.SlugRelatedField[Season](slug_field="ref", read_only=True)
    brood = serializers.CharField(source="brood.ref", read_only=True, default=None)

    class Meta:
        model = Cycle
        fields = [
            "ref",
            "season",
            "number",
            "ovulated_on",
            "shed_on",
            "laying_began",
            "laying_finished",
            "eggs_counted",
            "slugs_counted",
            "regressed_on",
            "brood",
        ]


class SeasonOut(serializers.ModelSerializer[Any]):
    """A season with its cycles and its current forecast."""

    female = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    code = serializers.CharField(source="female.code", read_only=True)
    name = serializers.CharField(read_only=True)
    cycles = CycleOut(many=True, read_only=True)
    forecast = serializers.SerializerMethodField()

    class Meta:
        model = Season
        fields = [
            "ref",
            "female",
            "code",
            "year",
            "name",
            "state",
            "opened_on",
            "closed_on",
            "note",
            "cycles",
            "forecast",
        ]

    def get_forecast(self, season: Season) -> dict[str, Any] | None:
        """The current forecast, null for a species without a profile."""
        rows = [row for row in season.forecasts.all() if row.is_current]
        return dict(ForecastOut(rows[0]).data) if rows else None


class RoundLineOut(serializers.ModelSerializer[Any]):
    """One female of the round."""

    female = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    code = serializers.CharField(source="female.code", read_only=True)

    class Meta:
        model = ScanRoundLine
        fields = ["female", "code", "order", "no_reading", "no_reading_note"]


class RoundOut(serializers.ModelSerializer[Any]):
    """A scan round; ``lines`` in walking order."""

    opened_by = serializers.CharField(source="opened_by.name", read_only=True)
    rooms = serializers.SlugRelatedField[Any](slug_field="ref", many=True, read_only=True)
    lines = RoundLineOut(many=True, read_only=True)

    class Meta:
        model = ScanRound
        fields = ["ref", "number", "opened_at", "opened_by", "closed_at", "rooms", "note", "lines"]


class ScanOut(serializers.ModelSerializer[Any]):
    """One reading."""

    animal = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    code = serializers.CharField(source="animal.code", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)
    round = serializers.CharField(source="round.ref", read_only=True, default=None)

    class Meta:
        model = Scan
        fields = [
            "ref",
            "animal",
            "code",
            "mm",
            "count",
            "side",
            "doubtful",
            "note",
            "observed_at",
            "recorded_at",
            "by",
            "round",
            "client_id",
            "struck_at",
            "struck_reason",
        ]


class LockOut(serializers.ModelSerializer[Any]):
    """A lock."""

    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = Lock
        fields = ["id", "seen_at", "recorded_at", "by", "struck_at"]


class VisitOut(serializers.ModelSerializer[Any]):
    """A visit with its locks."""

    season = serializers.SlugRelatedField[Season](slug_field="ref", read_only=True)
    female = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    male = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    by = serializers.CharField(source="by.name", read_only=True)
    locks = LockOut(many=True, read_only=True)

    class Meta:
        model = Visit
        fields = [
            "ref",
            "season",
            "female",
            "male",
            "began_at",
            "ended_at",
            "by",
            "against_gate",
            "note",
            "locks",
            "struck_at",
            "struck_reason",
        ]


class AdviceOverrideOut(serializers.ModelSerializer[Any]):
    """Another way than advised."""

    by = serializers.CharField(source="by.name", read_only=True)

    class Meta:
        model = AdviceOverride
        fields = ["act", "instead", "reason", "at", "by"]


class SeasonIn(serializers.Serializer[Any]):
    """A season to open."""

    female = serializers.CharField(max_length=10)
    year = serializers.IntegerField(required=False, min_value=1950, max_value=2200)


class RestIn(serializers.Serializer[Any]):
    """Why she rests."""

    why = serializers.CharField(max_length=160)


class OnIn(serializers.Serializer[Any]):
    """The day it happened."""

    on = serializers.DateField()


class LayingIn(serializers.Serializer[Any]):
    """A laying or birth, as far as it has come."""

    began = serializers.DateTimeField()
    finished = serializers.DateTimeField(required=False, allow_null=True)
    eggs = serializers.IntegerField(required=False, allow_null=True, min_value=0)
    slugs = serializers.IntegerField(required=False, allow_null=True, min_value=0)


class LayingFinishIn(serializers.Serializer[Any]):
    """The end of laying with its counts."""

    finished = serializers.DateTimeField()
    eggs = serializers.IntegerField(min_value=0)
    slugs = serializers.IntegerField(min_value=0)


class CycleFactIn(serializers.Serializer[Any]):
    """A step to take back."""

    fact = serializers.ChoiceField(choices=CycleFact.choices)
    reason = serializers.CharField(max_length=80)


class AdviceOverrideIn(serializers.Serializer[Any]):
    """Another way than advised."""

    act = serializers.ChoiceField(choices=list(ACT_WORDS))
    instead = serializers.ChoiceField(choices=list(ACT_WORDS))
    reason = serializers.CharField(max_length=160)


class RoundIn(serializers.Serializer[Any]):
    """Rooms, or females, of a new round; neither means every breeding female."""

    rooms = serializers.ListField(child=serializers.CharField(max_length=10), required=False, max_length=200)
    females = serializers.ListField(child=serializers.CharField(max_length=10), required=False, max_length=5000)
    note = serializers.CharField(max_length=160, required=False, allow_blank=True)


class RoundPlanIn(serializers.Serializer[Any]):
    """When a round would begin, and how many hours there are."""

    at = serializers.DateTimeField(required=False)
    hours = serializers.FloatField(min_value=0.25, max_value=12, default=3.0)


class RoundPlannedOut(serializers.Serializer[Any]):
    """One female of a plan."""

    female = serializers.CharField(source="female.ref")
    code = serializers.CharField(source="female.code")
    tub = serializers.CharField(source="place")
    due_on = serializers.DateField()
    why = serializers.CharField()


class RoundPlanOut(serializers.Serializer[Any]):
    """Chosen in walking order, due but not fitting, and held."""

    at = serializers.DateTimeField()
    minutes = serializers.FloatField()
    chosen = RoundPlannedOut(many=True)
    later = RoundPlannedOut(many=True)
    held = RoundPlannedOut(many=True)


class SheetLineIn(serializers.Serializer[Any]):
    """A line of a sheet: a diameter, or the reason why there is none."""

    female = serializers.CharField(max_length=10)
    mm = serializers.FloatField(required=False)
    count = serializers.IntegerField(required=False)
    doubtful = serializers.BooleanField(default=False)
    no_reading = serializers.ChoiceField(choices=NoReading.choices, required=False)
    note = serializers.CharField(max_length=80, required=False, allow_blank=True)


class SheetIn(serializers.Serializer[Any]):
    """A round written on paper."""

    observed_at = serializers.DateTimeField()
    lines = SheetLineIn(many=True)


class NumberEffectsIn(serializers.Serializer[Any]):
    """Which number of which species would be what."""

    species = serializers.CharField(max_length=10, help_text="The species' ref.")
    key = serializers.CharField(max_length=60)
    value = serializers.FloatField()


class EffectOut(serializers.Serializer[Any]):
    """A female that would be told otherwise."""

    season = serializers.CharField(source="season.ref")
    code = serializers.CharField(source="season.female.code")
    before = serializers.CharField()
    after = serializers.CharField()
    because = serializers.ListField(child=serializers.CharField())


class NumberEffectsOut(serializers.Serializer[Any]):
    """What another number would change; nothing is written."""

    key = serializers.CharField()
    standing = serializers.FloatField()
    value = serializers.FloatField()
    asked = serializers.IntegerField()
    effects = EffectOut(many=True)


class ScanIn(serializers.Serializer[Any]):
    """One reading."""

    female = serializers.CharField(max_length=10)
    mm = serializers.FloatField()
    observed_at = serializers.DateTimeField(required=False, allow_null=True)
    round = serializers.CharField(max_length=10, required=False, allow_null=True)
    count = serializers.IntegerField(required=False, allow_null=True, min_value=0, max_value=1000)
    side = serializers.ChoiceField(choices=[("", ""), *Side.choices], required=False)
    doubtful = serializers.BooleanField(required=False)
    note = serializers.CharField(max_length=160, required=False, allow_blank=True)
    client_id = serializers.UUIDField(required=False, allow_null=True)
    stated_check = serializers.BooleanField(required=False)
    despite_hold = serializers.BooleanField(required=False)


class SkipIn(serializers.Serializer[Any]):
    """No reading, and why."""

    female = serializers.CharField(max_length=10)
    reason = serializers.ChoiceField(choices=NoReading.choices)
    note = serializers.CharField(max_length=80, required=False, allow_blank=True)


class UnskipIn(serializers.Serializer[Any]):
    """A “no reading” taken back."""

    female = serializers.CharField(max_length=10)


class RoundOvulationIn(serializers.Serializer[Any]):
    """Ovulation seen at the ultrasound."""

    female = serializers.CharField(max_length=10)
    on = serializers.DateField()


class ReasonIn(serializers.Serializer[Any]):
    """Why it is struck out; not asked within ten minutes of an own entry."""

    reason = serializers.CharField(max_length=80, required=False, allow_blank=True)


class VisitIn(serializers.Serializer[Any]):
    """A visit, over already when ``ended_at`` is given."""

    female = serializers.CharField(max_length=10)
    male = serializers.CharField(max_length=10)
    began_at = serializers.DateTimeField(required=False, allow_null=True)
    ended_at = serializers.DateTimeField(required=False, allow_null=True)
    note = serializers.CharField(max_length=160, required=False, allow_blank=True)


class MomentIn(serializers.Serializer[Any]):
    """When; now when not said."""

    ended_at = serializers.DateTimeField(required=False, allow_null=True)


class LockIn(serializers.Serializer[Any]):
    """A lock seen."""

    seen_at = serializers.DateTimeField(required=False, allow_null=True)
    client_id = serializers.UUIDField(required=False, allow_null=True)


class LockStrikeIn(serializers.Serializer[Any]):
    """A lock to strike out, by the moment it was seen."""

    seen_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=80, required=False, allow_blank=True)
