"""Background work in the administrators' pages; only who is on call is edited here."""

from __future__ import annotations

from django.contrib import admin

from apps.jobs.models import Alarm, Delivery, JobRun, Notice, OnCall


@admin.register(OnCall)
class OnCallAdmin(admin.ModelAdmin[OnCall]):
    """Who answers alarms, when."""

    list_display = ("person", "begins_at", "ends_at", "order")
    list_filter = ("person",)


@admin.register(JobRun)
class JobRunAdmin(admin.ModelAdmin[JobRun]):
    """Runs."""

    list_display = ("kind", "state", "queue", "started_at", "finished_at", "decided")
    list_filter = ("state", "queue", "kind")


@admin.register(Delivery)
class DeliveryAdmin(admin.ModelAdmin[Delivery]):
    """The outbox."""

    list_display = ("event", "handler", "created_at", "due_at", "attempts", "done_at", "given_up_at")
    list_filter = ("event",)


@admin.register(Alarm)
class AlarmAdmin(admin.ModelAdmin[Alarm]):
    """Alarms."""

    list_display = ("label", "kind", "condition", "raised_at", "acknowledged_at", "resolved_at")
    list_filter = ("kind", "condition")


@admin.register(Notice)
class NoticeAdmin(admin.ModelAdmin[Notice]):
    """What left the house."""

    list_display = ("subject", "to", "channel", "queued_at", "sent_at", "attempts", "last_error")
    list_filter = ("channel",)
