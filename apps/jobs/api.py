"""The API of alarms and background work."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ViewSetMixin

from apps.accounts.api import FloorViewSet
from apps.accounts.choices import Permission
from apps.jobs.models import Alarm, JobRun
from apps.jobs.services import alarm_acknowledge


class AlarmOut(serializers.ModelSerializer[Alarm]):
    """An alarm."""

    acknowledged_by = serializers.CharField(source="acknowledged_by.name", read_only=True, default=None)
    state = serializers.ChoiceField(choices=["raised", "acknowledged", "resolved"], read_only=True)

    class Meta:
        model = Alarm
        fields = [
            "ref",
            "kind",
            "subject_ref",
            "condition",
            "label",
            "detail",
            "state",
            "raised_at",
            "acknowledged_at",
            "acknowledged_by",
            "resolved_at",
        ]


class AlarmViewSet(FloorViewSet):
    """Conditions somebody must acknowledge."""

    queryset = Alarm.objects.select_related("acknowledged_by")
    serializer_class = AlarmOut
    act_permissions = {"acknowledge": Permission.ALARM_ACKNOWLEDGE}

    @extend_schema(parameters=[OpenApiParameter("open", bool, description="Only alarms not resolved.")])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Newest first."""
        return super().list(request, *args, **kwargs)

    def get_queryset(self) -> Any:
        """All, or the open ones with ``?open=true``."""
        rows = super().get_queryset()
        wanted = self.request.query_params.get("open", "") if self.request is not None else ""
        return rows.filter(resolved_at__isnull=True) if wanted.lower() in {"1", "true"} else rows

    @extend_schema(request=None, responses=AlarmOut)
    @action(detail=True, methods=["post"])
    def acknowledge(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Somebody has it in hand."""
        row = alarm_acknowledge(by=self.by, alarm=self.get_object(), request_key=self.request_key)
        return Response(self.get_serializer(row).data)


class JobRunOut(serializers.ModelSerializer[JobRun]):
    """One run."""

    class Meta:
        model = JobRun
        fields = ["ref", "kind", "state", "queue", "started_at", "finished_at", "decided", "error"]


class JobRunViewSet(FloorViewSet):
    """Runs of background jobs."""

    queryset = JobRun.objects.all()
    serializer_class = JobRunOut
    permission = Permission.JOBS_READ


ROUTES: list[tuple[str, type[ViewSetMixin], str]] = [
    ("alarms", AlarmViewSet, "alarm"),
    ("job-runs", JobRunViewSet, "job-run"),
]
