"""The API of what devices send: entries that waited, and those that wait for a decision."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.animals.models import Animal
from apps.care.choices import KeptDecision
from apps.care.models import KeptEntry
from apps.care.selectors.kept import kept_entries
from apps.care.services import kept_entry_decide
from apps.core import clock
from apps.dashboards.services import Entry, kept_entry_record, observations_take

MOST_ENTRIES = 500
# in base64; a device makes a photograph smaller than this before it keeps it
MOST_PHOTO = 4 * 1024 * 1024


class EntryIn(serializers.Serializer[Any]):
    """One entry as a device kept it."""

    client_id = serializers.UUIDField(help_text="Made by the device; the same id again writes nothing.")
    name = serializers.CharField(max_length=40, help_text="weight, offer, check, shed, mark …, rack-offer, rack-check.")
    subject = serializers.CharField(max_length=10, help_text="Ref of the animal or the rack.")
    place = serializers.CharField(
        max_length=10, default="", allow_blank=True, help_text="Ref of the tub or rack in which the device showed it."
    )
    page = serializers.CharField(max_length=200, default="", allow_blank=True)
    person = serializers.CharField(max_length=10, help_text="Ref of who made it; another person's is not taken.")
    observed_at = serializers.DateTimeField(help_text="By the device's clock.")
    fields = serializers.DictField(  # type: ignore[assignment]
        child=serializers.ListField(
            child=serializers.CharField(allow_blank=True, max_length=2000, trim_whitespace=False), max_length=500
        ),
        help_text="What the form of the page would post, each name with its values.",
    )
    photo = serializers.CharField(
        max_length=MOST_PHOTO, default="", allow_blank=True, help_text="The file of a photograph, in base64."
    )


class EntriesIn(serializers.Serializer[Any]):
    """Entries in the order in which they were made."""

    device_now = serializers.DateTimeField(help_text="The device's clock when it sends.")
    entries = EntryIn(many=True, max_length=MOST_ENTRIES)  # type: ignore[call-arg]


class AnswerOut(serializers.Serializer[Any]):
    """What became of one entry."""

    client_id = serializers.UUIDField()
    answer = serializers.ChoiceField(
        choices=[(word, word) for word in ("written", "again", "kept", "refused", "another-person")]
    )
    words = serializers.CharField()
    field = serializers.CharField(allow_null=True)
    code = serializers.CharField(allow_blank=True)


class AnswersOut(serializers.Serializer[Any]):
    """One answer an entry, in the order sent."""

    entries = AnswerOut(many=True)
    server_now = serializers.DateTimeField(help_text="The facility's clock when it answered.")


class ObservationViewSet(viewsets.GenericViewSet[Any]):
    """What a device had kept while the link was gone."""

    permission = Permission.CARE_RECORD
    act_permissions = {"create": Permission.CARE_RECORD}
    serializer_class = EntriesIn
    queryset = KeptEntry.objects.none()
    pagination_class = None

    @extend_schema(request=EntriesIn, responses={200: AnswersOut})
    def create(self, request: Request) -> Response:
        """Take entries one by one: what is wrong with one never keeps another back. Safe to send again."""
        reader = EntriesIn(data=request.data)
        reader.is_valid(raise_exception=True)
        data = reader.validated_data
        entries = [Entry(**dict(one)) for one in data["entries"]]
        answers = observations_take(by=request.user, entries=entries, device_now=data["device_now"])  # type: ignore[arg-type]
        return Response(AnswersOut({"entries": answers, "server_now": clock.now()}).data)


class KeptEntryOut(serializers.ModelSerializer[KeptEntry]):
    """An entry that waits for a decision, or had one."""

    animal = serializers.SlugRelatedField[Animal](slug_field="ref", read_only=True)
    code = serializers.CharField(source="animal.code", read_only=True)
    seen_by = serializers.CharField(source="sent.by.name", read_only=True)
    observed_at = serializers.DateTimeField(source="sent.observed_at", read_only=True)
    received_at = serializers.DateTimeField(source="sent.received_at", read_only=True)
    decided_by = serializers.CharField(source="decided_by.name", read_only=True, default=None)
    fields = serializers.DictField(read_only=True)  # type: ignore[assignment]

    class Meta:
        model = KeptEntry
        fields = [
            "ref",
            "animal",
            "code",
            "name",
            "fields",
            "words",
            "seen_by",
            "observed_at",
            "received_at",
            "decision",
            "note",
            "decided_at",
            "decided_by",
        ]


class DecisionIn(serializers.Serializer[Any]):
    """Why it is decided so."""

    note = serializers.CharField(max_length=200)


class KeptEntryViewSet(FloorViewSet):
    """Entries for animals that have since moved, left, or got their answer from somebody else."""

    queryset = kept_entries()
    serializer_class = KeptEntryOut
    act_permissions = {"record": Permission.CARE_RECORD, "discard": Permission.CARE_RECORD}

    @extend_schema(request=DecisionIn, responses=KeptEntryOut)
    @action(detail=True, methods=["post"])
    def record(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Record it all the same, as seen by who saw it."""
        note = self.valid(DecisionIn)["note"]
        row = kept_entry_record(by=self.by, entry=self.get_object(), note=note, request_key=self.request_key)
        return Response(self.get_serializer(row).data)

    @extend_schema(request=DecisionIn, responses=KeptEntryOut)
    @action(detail=True, methods=["post"])
    def discard(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Leave it unrecorded; the entry and the reason stay."""
        note, decision = self.valid(DecisionIn)["note"], KeptDecision.DISCARDED
        row = kept_entry_decide(
            by=self.by, entry=self.get_object(), decision=decision, note=note, request_key=self.request_key
        )
        return Response(self.get_serializer(row).data)
