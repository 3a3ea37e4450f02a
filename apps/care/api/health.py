"""Health: notes, tests, treatments as a veterinarian prescribed them, and their doses."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.choices import HoldWord
from apps.animals.models import Hold
from apps.care import services
from apps.care.api.facts import FACT_FIELDS, HIGHEST_ID, EntryIn, FactOut, FactViewSet, SeenIn
from apps.care.choices import DoseOutcome, HealthResult, HealthSign, SampleKind, TreatmentEnd
from apps.care.models import Dose, DoseDue, HealthNote, HealthTest, Treatment
from apps.care.selectors import Quarantine, quarantine_of, quarantines, release_barriers, treatments_due
from apps.core.errors import Invalid


class HealthNoteOut(FactOut):
    """A health note."""

    closed_by = serializers.CharField(source="closed_by.name", read_only=True, default=None)
    signs = serializers.ListField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = HealthNote
        fields = ["ref", *FACT_FIELDS, "signs", "text", "closed_at", "closed_by"]


class HealthNoteIn(EntryIn):
    """Signs and words."""

    signs = serializers.ListField(child=serializers.ChoiceField(choices=HealthSign.choices), default=list)
    text = serializers.CharField(allow_blank=True, default="", max_length=2000)


class HealthTestOut(FactOut):
    """A test with its result; ``waiting`` until it comes."""

    result_by = serializers.CharField(source="result_by.name", read_only=True, default=None)

    class Meta:
        model = HealthTest
        fields = [
            "ref",
            *FACT_FIELDS,
            "kind",
            "wanted",
            "laboratory",
            "result",
            "result_on",
            "result_text",
            "result_by",
        ]


class HealthTestIn(EntryIn):
    """A sample taken."""

    kind = serializers.ChoiceField(choices=SampleKind.choices)
    wanted = serializers.CharField(allow_blank=True, default="", max_length=120, help_text="What it is tested for.")
    laboratory = serializers.CharField(allow_blank=True, default="", max_length=80)


class HealthTestResultIn(serializers.Serializer[Any]):
    """What came back."""

    result = serializers.ChoiceField(choices=[one for one in HealthResult.choices if one[0] != HealthResult.WAITING])
    on = serializers.DateField(required=False)
    text = serializers.CharField(allow_blank=True, default="", max_length=2000)


class DoseDueOut(serializers.ModelSerializer[DoseDue]):
    """One time of a treatment and what became of it."""

    outcome = serializers.SerializerMethodField()

    class Meta:
        model = DoseDue
        fields = ["id", "number", "due_at", "outcome"]

    def get_outcome(self, due: DoseDue) -> str | None:
        """given, skipped or null."""
        return next((dose.outcome for dose in due.doses.all() if dose.struck_at is None), None)


class TreatmentOut(FactOut):
    """A treatment in the veterinarian's words, with every time its dose is due."""

    ended_by = serializers.CharField(source="ended_by.name", read_only=True, default=None)
    due = DoseDueOut(many=True, read_only=True)

    class Meta:
        model = Treatment
        fields = ["ref", *FACT_FIELDS, "veterinarian", "medicine", "dose", "due", "ended_at", "ended_by", "ended_why"]


class TreatmentIn(serializers.Serializer[Any]):
    """What was prescribed; either the moments themselves, or the first with a number and the hours between."""

    animal = serializers.CharField(max_length=10)
    veterinarian = serializers.CharField(max_length=80)
    medicine = serializers.CharField(max_length=120)
    dose = serializers.CharField(max_length=500, help_text="Word for word as prescribed.")
    first_due_at = serializers.DateTimeField(required=False)
    every_h = serializers.FloatField(required=False, min_value=0.01)
    doses = serializers.IntegerField(min_value=1, max_value=200, default=1)
    due_at = serializers.ListField(child=serializers.DateTimeField(), required=False, max_length=200)
    client_id = serializers.UUIDField(required=False)


class TreatmentEndIn(serializers.Serializer[Any]):
    """Why it is over."""

    why = serializers.ChoiceField(choices=TreatmentEnd.choices, default=TreatmentEnd.FINISHED)


class DoseOut(FactOut):
    """A dose given or skipped."""

    due = serializers.IntegerField(source="due_id", read_only=True)
    treatment = serializers.CharField(source="due.treatment.ref", read_only=True)

    class Meta:
        model = Dose
        fields = [*FACT_FIELDS, "due", "treatment", "outcome", "reason"]


class DoseIn(SeenIn):
    """What became of a due dose."""

    due = serializers.IntegerField(min_value=1, max_value=HIGHEST_ID)
    outcome = serializers.ChoiceField(choices=DoseOutcome.choices)
    reason = serializers.CharField(allow_blank=True, default="", max_length=160)


class DueDoseOut(serializers.Serializer[Any]):
    """A dose nobody has recorded yet."""

    due = serializers.IntegerField(source="due.pk", read_only=True)
    due_at = serializers.DateTimeField(source="due.due_at", read_only=True)
    number = serializers.IntegerField(source="due.number", read_only=True)
    of = serializers.IntegerField(read_only=True)
    late = serializers.BooleanField(read_only=True)
    animal = serializers.CharField(source="animal.ref", read_only=True)
    code = serializers.CharField(source="animal.code", read_only=True)
    treatment = serializers.CharField(source="treatment.ref", read_only=True)
    medicine = serializers.CharField(source="treatment.medicine", read_only=True)
    dose = serializers.CharField(source="treatment.dose", read_only=True)


class ByRef(FactViewSet):
    """Facts that have an address of their own."""

    lookup_field = "ref"
    lookup_value_regex = "[0-9a-z]{10}"


class HealthNoteViewSet(ByRef):
    """Health notes: signs and words, no diagnosis."""

    queryset = HealthNote.objects.all()
    serializer_class = HealthNoteOut
    related = (*FactViewSet.related, "closed_by")
    input_class = HealthNoteIn
    act_permissions = {**FactViewSet.act_permissions, "close": Permission.CARE_RECORD}

    @extend_schema(request=HealthNoteIn, responses={201: HealthNoteOut})
    def create(self, request: Request) -> Response:
        """Write a note."""
        return self.answer(services.health_note_record(by=self.by, **self.entry(), request_key=self.request_key))

    @extend_schema(request=None, responses=HealthNoteOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """The matter is over."""
        row = services.health_note_close(by=self.by, note=self.get_object(), request_key=self.request_key)
        return Response(self.get_serializer(row).data)


class HealthTestViewSet(ByRef):
    """Tests: what was taken, and what came back."""

    queryset = HealthTest.objects.all()
    serializer_class = HealthTestOut
    related = (*FactViewSet.related, "result_by")
    input_class = HealthTestIn
    act_permissions = {**FactViewSet.act_permissions, "result": Permission.TREATMENT_SET}

    @extend_schema(request=HealthTestIn, responses={201: HealthTestOut})
    def create(self, request: Request) -> Response:
        """Write down that a sample was taken."""
        return self.answer(services.health_test_record(by=self.by, **self.entry(), request_key=self.request_key))

    @extend_schema(request=HealthTestResultIn, responses=HealthTestOut)
    @action(detail=True, methods=["post"])
    def result(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Write down what came back."""
        data = self.valid(HealthTestResultIn)
        row = services.health_test_result(by=self.by, test=self.get_object(), **data, request_key=self.request_key)
        return Response(self.get_serializer(row).data)


class TreatmentViewSet(ByRef):
    """Treatments as prescribed; ended by an act, never by silence."""

    queryset = Treatment.objects.prefetch_related(
        Prefetch("due", DoseDue.objects.order_by("number").prefetch_related("doses"))
    )
    serializer_class = TreatmentOut
    related = (*FactViewSet.related, "ended_by")
    input_class = TreatmentIn
    act_permissions = {
        "create": Permission.TREATMENT_SET,
        "end": Permission.TREATMENT_SET,
        "strike": Permission.TREATMENT_SET,
    }

    @extend_schema(request=TreatmentIn, responses={201: TreatmentOut})
    def create(self, request: Request) -> Response:
        """Write down what a veterinarian prescribed."""
        return self.answer(services.treatment_begin(by=self.by, **self.entry(), request_key=self.request_key))

    @extend_schema(request=TreatmentEndIn, responses=TreatmentOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """End it, and the hold with it."""
        data = self.valid(TreatmentEndIn)
        row = services.treatment_end(by=self.by, treatment=self.get_object(), **data, request_key=self.request_key)
        return Response(self.get_serializer(row).data)


class DoseViewSet(FactViewSet):
    """Doses given or skipped; what is due stands under ``due/``."""

    queryset = Dose.objects.all()
    serializer_class = DoseOut
    related = (*FactViewSet.related, "due__treatment")

    @extend_schema(request=DoseIn, responses={201: DoseOut})
    def create(self, request: Request) -> Response:
        """Say what became of a due dose."""
        data = self.valid(DoseIn)
        number = data.pop("due")
        due = DoseDue.objects.select_related("treatment__animal__species").filter(pk=number).first()
        if due is None:
            raise Invalid(f"There is no due dose {number}.", field="due")
        row = services.dose_record(by=self.by, due=due, **data, request_key=self.request_key)
        return Response(DoseOut(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses=DueDoseOut(many=True), filters=False)
    @action(detail=False, methods=["get"], pagination_class=None)
    def due(self, request: Request) -> Response:
        """Doses due until the end of the facility day and not recorded, earliest first."""
        return Response(DueDoseOut(treatments_due(), many=True).data)


class QuarantineOut(serializers.Serializer[Any]):
    """A quarantine with its clock and what speaks against releasing it."""

    ref = serializers.CharField(source="hold.ref", read_only=True)
    place = serializers.CharField(read_only=True)
    reason = serializers.CharField(source="hold.reason", read_only=True)
    began_at = serializers.DateTimeField(source="hold.begins_at", read_only=True)
    clock_from = serializers.DateTimeField(read_only=True)
    day = serializers.IntegerField(read_only=True)
    days = serializers.IntegerField(read_only=True)
    due_on = serializers.DateField(read_only=True)
    animals = serializers.SerializerMethodField()
    barriers = serializers.SerializerMethodField()
    lifted_at = serializers.DateTimeField(source="hold.lifted_at", read_only=True, allow_null=True)

    def get_animals(self, quarantine: Quarantine) -> list[str]:
        """The refs of those in it."""
        return [one.ref for one in quarantine.animals]

    def get_barriers(self, quarantine: Quarantine) -> list[str]:
        """What speaks against releasing it now, in words."""
        return release_barriers(quarantine)


class ReleaseIn(serializers.Serializer[Any]):
    """Why it is released before everything allows it; an owner's."""

    why = serializers.CharField(max_length=160, allow_blank=True, default="")


class QuarantineViewSet(FloorViewSet):
    """Quarantines in force: holds of animals, racks and rooms, with the days counted from the last that joined."""

    queryset = Hold.objects.filter(word=HoldWord.QUARANTINE).select_related(
        "animal__species", "animal__tub__rack__room", "rack__room", "room"
    )
    serializer_class = QuarantineOut
    pagination_class = None
    act_permissions = {"release": Permission.TREATMENT_SET}

    @extend_schema(responses=QuarantineOut(many=True), filters=False)
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Those in force, the oldest first."""
        return Response(QuarantineOut(quarantines(), many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One, in force or ended."""
        return Response(QuarantineOut(quarantine_of(self.get_object())).data)

    @extend_schema(request=ReleaseIn, responses=QuarantineOut)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """End it, when its days, swabs, tests, notes and treatments allow it."""
        data = self.valid(ReleaseIn)
        services.quarantine_release(by=self.by, hold=self.get_object(), **data, request_key=self.request_key)
        return Response(QuarantineOut(quarantine_of(self.get_object())).data)
