"""Seasons and their cycles, scan rounds and scans, visits and locks, forecasts and overrides."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Person
from apps.animals.models import Animal, Brood, Fact, Species
from apps.breeding.choices import NoReading, SeasonState, Side, Stage, WishKind
from apps.core.rows import Linked, choice_check, paired_check
from apps.places.models import Room


class Season(Linked):
    """One female's season, named by the year it opens in (2026 is shown as 2026/27)."""

    female = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_breeding_seasons")
    year = models.PositiveSmallIntegerField()
    state = models.CharField(max_length=9, choices=SeasonState.choices, default=SeasonState.OPEN)
    opened_on = models.DateField()
    closed_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["female", "year"], name="season_once_per_female_and_year"),
            choice_check("state", SeasonState, "season_state_known"),
            models.CheckConstraint(
                condition=Q(closed_on__isnull=True) | Q(closed_on__gte=F("opened_on")), name="season_dates"
            ),
        ]
        indexes = [models.Index(fields=["year", "state"])]

    def __str__(self) -> str:
        return f"{self.female} {self.name}"

    @property
    def name(self) -> str:
        """``2026/27``"""
        return f"{self.year}/{(self.year + 1) % 100:02d}"


class Cycle(Linked):
    """One ovulation, shed, and laying (or birth) within a season; one brood each."""

    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="cycles")
    number = models.PositiveSmallIntegerField(default=1)
    ovulated_on = models.DateField(null=True, blank=True)
    shed_on = models.DateField(null=True, blank=True)
    laying_began = models.DateTimeField(null=True, blank=True)
    laying_finished = models.DateTimeField(null=True, blank=True)
    eggs_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    slugs_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    regressed_on = models.DateField(null=True, blank=True)
    brood = models.OneToOneField(
        Brood, on_delete=models.PROTECT, null=True, blank=True, related_name="via_breeding_cycle"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["season", "number"], name="cycle_number_once"),
            models.CheckConstraint(
                condition=Q(shed_on__isnull=True) | Q(ovulated_on__isnull=True) | Q(shed_on__gte=F("ovulated_on")),
                name="cycle_shed_after_ovulation",
                violation_error_message="The pre-lay shed cannot come before ovulation.",
            ),
            models.CheckConstraint(
                condition=Q(laying_finished__isnull=True) | Q(laying_began__isnull=False), name="cycle_laying_pair"
            ),
            models.CheckConstraint(
                condition=Q(laying_finished__isnull=True) | Q(laying_finished__gte=F("laying_began")),
                name="cycle_laying_dates",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.season} cycle {self.number}"


class ScanRound(Linked):
    """All readings of one working session."""

    number = models.PositiveIntegerField(unique=True)
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    rooms = models.ManyToManyField(Room, related_name="+", blank=True)
    note = models.CharField(max_length=160, blank=True)

    class Meta:
        constraints = [
            paired_check("closed_at", "closed_by", "scan_round_closed_pair"),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True) | Q(closed_at__gte=F("opened_at")), name="scan_round_dates"
            ),
        ]

    def __str__(self) -> str:
        return f"Scan round {self.number}"


class ScanRoundLine(models.Model):
    """One female on the round's list, in walking order; left without a reading for a stated reason."""

    round = models.ForeignKey(ScanRound, on_delete=models.CASCADE, related_name="lines")
    female = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    order = models.PositiveIntegerField()
    no_reading = models.CharField(max_length=20, choices=NoReading.choices, blank=True)
    no_reading_note = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["round", "female"], name="scan_round_female_once")]
        indexes = [models.Index(fields=["round", "order"])]

    def __str__(self) -> str:
        return f"{self.round}: {self.female}"


class Scan(Fact, Linked):
    """One reading: the largest follicle diameter. Doubtful ones are left out of forecasts."""

    round = models.ForeignKey(ScanRound, on_delete=models.PROTECT, null=True, blank=True, related_name="scans")
    mm = models.FloatField()
    count = models.PositiveSmallIntegerField(null=True, blank=True)
    side = models.CharField(max_length=5, choices=Side.choices, blank=True)
    doubtful = models.BooleanField(default=False)
    note = models.CharField(max_length=160, blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(condition=Q(mm__gt=0), name="scan_mm_positive"),
            models.UniqueConstraint(
                fields=["round", "animal"],
                condition=Q(struck_at__isnull=True, round__isnull=False),
                name="scan_once_per_round",
                violation_error_message="She already has a reading in this round. Strike that out first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mm:g} mm"


class Visit(Linked):
    """A male with a female: one stay. A visit that happened is always recorded, flagged when the gate forbade it."""

    season = models.ForeignKey(Season, on_delete=models.PROTECT, related_name="visits")
    female = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_breeding_visits")
    male = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="via_breeding_visits_made")
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    against_gate = models.CharField(max_length=300, blank=True, help_text="Why the gate forbade it, when it did.")
    note = models.CharField(max_length=160, blank=True)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    struck_reason = models.CharField(max_length=80, blank=True)
    moved_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["male"],
                condition=Q(ended_at__isnull=True, struck_at__isnull=True),
                name="visit_male_one_place",
                violation_error_message="This male is with another female. End that visit first.",
            ),
            models.UniqueConstraint(
                fields=["female"],
                condition=Q(ended_at__isnull=True, struck_at__isnull=True),
                name="visit_female_one_male",
                violation_error_message="She has a male with her. End that visit first.",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("began_at")),
                name="visit_dates",
                violation_error_message="A visit cannot end before it begins.",
            ),
            models.CheckConstraint(condition=~Q(male=F("female")), name="visit_two_animals"),
            paired_check("struck_at", "struck_by", "visit_struck_pair"),
        ]
        indexes = [models.Index(fields=["female", "-began_at"]), models.Index(fields=["male", "-began_at"])]

    def __str__(self) -> str:
        return f"{self.male} with {self.female}"


class Lock(models.Model):
    """Copulation seen during a visit; append-only."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="locks")
    seen_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    client_id = models.UUIDField(unique=True, null=True, blank=True)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    moved_from = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [paired_check("struck_at", "struck_by", "lock_struck_pair")]

    def __str__(self) -> str:
        return f"lock {self.seen_at:%Y-%m-%d}"


class SeasonForecast(models.Model):
    """What the engine said of one season, append-only; one is current. Boards sort by these columns."""

    season = models.ForeignKey(Season, on_delete=models.CASCADE, related_name="forecasts")
    as_of = models.DateField()
    made_at = models.DateTimeField()
    engine_version = models.CharField(max_length=40)
    input_hash = models.CharField(max_length=64)
    is_current = models.BooleanField(default=True)
    stage = models.CharField(max_length=16, choices=Stage.choices)
    mm_now = models.FloatField(null=True, blank=True)
    growth_p10 = models.FloatField(null=True, blank=True)
    growth_p50 = models.FloatField(null=True, blank=True)
    growth_p90 = models.FloatField(null=True, blank=True)
    act = models.CharField(max_length=20)
    ovulation_p10 = models.DateField(null=True, blank=True)
    ovulation_p50 = models.DateField(null=True, blank=True)
    ovulation_p90 = models.DateField(null=True, blank=True)
    laying_p10 = models.DateField(null=True, blank=True)
    laying_p50 = models.DateField(null=True, blank=True)
    laying_p90 = models.DateField(null=True, blank=True)
    next_scan_on = models.DateField(null=True, blank=True)
    answer = models.JSONField(default=dict, help_text="The whole answer of the engine, with its reasons.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["season"], condition=Q(is_current=True), name="season_forecast_one_current"
            ),
            choice_check("stage", Stage, "season_forecast_stage_known"),
        ]
        indexes = [models.Index(fields=["is_current", "laying_p50"]), models.Index(fields=["season", "-as_of"])]

    def __str__(self) -> str:
        return f"{self.season} on {self.as_of}"


class AdviceOverride(models.Model):
    """A person went another way; that advice stays silent for her until its facts change."""

    forecast = models.ForeignKey(SeasonForecast, on_delete=models.PROTECT, related_name="overrides")
    act = models.CharField(max_length=20)
    instead = models.CharField(max_length=20)
    reason = models.CharField(max_length=160)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["forecast", "act"], name="advice_override_once")]

    def __str__(self) -> str:
        return f"{self.act}: {self.instead}"


class Rota(Linked):
    """One plan of a species' visits in the coming weeks. Append-only; one is current, the published one binds."""

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="via_breeding_rotas")
    first_day = models.DateField(help_text="The Monday of its first week.")
    weeks = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    is_current = models.BooleanField(default=True)
    engine_version = models.CharField(max_length=40)
    input_hash = models.CharField(max_length=64)
    value = models.FloatField(help_text="Expected worth of the young these visits add, in the unit named.")
    bound = models.FloatField()
    gap = models.FloatField(help_text="Share of the bound that the plan may fall short of it.")
    greedy_value = models.FloatField()
    unit = models.CharField(max_length=8, help_text="young, or the currency of the trait values.")
    is_optimal = models.BooleanField(default=False)
    males = models.JSONField(default=list, help_text="Refs of the males, in the order of the prices.")
    prices = models.JSONField(default=list, help_text="Price of each male's weeks, the start of the next plan.")
    notes = models.JSONField(default=dict, help_text="Who is not planned and why; pins that could not be kept.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["species"], condition=Q(is_current=True), name="rota_one_current_per_species"
            ),
            models.CheckConstraint(condition=Q(gap__gte=0, gap__lte=1), name="rota_gap_share"),
            models.CheckConstraint(condition=Q(bound__gte=0, value__gte=0), name="rota_worth_not_negative"),
            paired_check("published_at", "published_by", "rota_published_pair"),
        ]
        indexes = [models.Index(fields=["species", "-made_at"])]

    def __str__(self) -> str:
        return f"rota of {self.first_day:%Y-%m-%d}"


class RotaLine(Linked):
    """One planned visit, with why; the visit it became, once it did."""

    rota = models.ForeignKey(Rota, on_delete=models.CASCADE, related_name="lines")
    female = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    male = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    on = models.DateField()
    is_pinned = models.BooleanField(default=False)
    worth = models.FloatField(help_text="What the season would lose without it, after her best other plan.")
    because = models.JSONField(default=list, help_text="Sentences with figures.")
    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="rota_line")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["rota", "female", "on"], name="rota_line_female_once_a_day"),
            models.UniqueConstraint(fields=["rota", "male", "on"], name="rota_line_male_once_a_day"),
            models.CheckConstraint(condition=~Q(male=F("female")), name="rota_line_two_animals"),
        ]
        indexes = [models.Index(fields=["rota", "on"])]

    def __str__(self) -> str:
        return f"{self.male} with {self.female} on {self.on:%Y-%m-%d}"


class RotaWish(Linked):
    """A pin (this visit shall be planned) or a veto (it shall not), by a person, with the reason."""

    kind = models.CharField(max_length=4, choices=WishKind.choices)
    female = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    male = models.ForeignKey(Animal, on_delete=models.PROTECT, related_name="+")
    week_of = models.DateField(null=True, blank=True, help_text="Its Monday; empty: every week (vetoes only).")
    reason = models.CharField(max_length=160)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    class Meta:
        constraints = [
            choice_check("kind", WishKind, "rota_wish_kind_known"),
            models.CheckConstraint(
                condition=Q(kind=WishKind.VETO) | Q(week_of__isnull=False), name="rota_pin_names_its_week"
            ),
            models.UniqueConstraint(
                fields=["female", "week_of"],
                condition=Q(kind=WishKind.PIN, withdrawn_at__isnull=True),
                name="rota_pin_once_a_female_and_week",
                violation_error_message="She is pinned in that week already. Withdraw that pin first.",
            ),
            models.CheckConstraint(condition=~Q(male=F("female")), name="rota_wish_two_animals"),
            paired_check("withdrawn_at", "withdrawn_by", "rota_wish_withdrawn_pair"),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.male} with {self.female}"
