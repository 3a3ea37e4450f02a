"""Alarms with their acknowledgement; background work for those who look after it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import select_template
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.text import slugify
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.jobs.choices import RunState
from apps.jobs.models import Alarm, JobRun
from apps.jobs.selectors import answering_now, given_up_deliveries, open_alarms, open_deliveries, unsent_notices
from apps.jobs.services import alarm_acknowledge

A_PAGE = 50


def steps_for(kinds: Iterable[str]) -> list[Any]:
    """What to do, by kind of alarm: each floor that raises one owns ``alarm_steps/KIND.html``; else the general one."""
    names = [f"alarm_steps/{slugify(kind)}.html" for kind in dict.fromkeys(kinds)]
    found = [select_template([name, "alarm_steps/other.html"]) for name in names]
    return list({one.template.name: one for one in found}.values())


@requires(Permission.READ)
def alarms(request: PersonRequest) -> HttpResponse:
    """What needs somebody now, and what was resolved."""
    resolved = Alarm.objects.filter(resolved_at__isnull=False).select_related("acknowledged_by").order_by("-raised_at")
    standing = list(open_alarms().prefetch_related("notices"))
    context = {
        "open": standing,
        "what_to_do": steps_for(alarm.kind for alarm in standing),
        "page": Paginator(resolved, A_PAGE).get_page(request.GET.get("page")),
        "answering": answering_now(),
        "wakes_nobody": not settings.SERVICE_MODE and "filebased" in settings.EMAIL_BACKEND,
    }
    return render(request, "jobs/alarms.html", context)


@require_POST
@requires(Permission.ALARM_ACKNOWLEDGE)
def acknowledge(request: PersonRequest, ref: str) -> HttpResponse:
    """Somebody has it in hand."""
    alarm = get_object_or_404(Alarm, ref=ref)
    alarm_acknowledge(by=request.user, alarm=alarm, request_key=request.POST.get("request_key"))
    messages.success(request, f"Acknowledged: {alarm.label}.")
    going = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(going, allowed_hosts={request.get_host()}):
        going = "/alarms/"
    return redirect(going)


@requires(Permission.JOBS_READ)
def jobs(request: PersonRequest) -> HttpResponse:
    """Runs, deliveries still to be carried, and what failed."""
    state = request.GET.get("state", "")
    runs = JobRun.objects.order_by("-started_at")
    if state in RunState.values:
        runs = runs.filter(state=state)
    context = {
        "page": Paginator(runs, A_PAGE).get_page(request.GET.get("page")),
        "state": state,
        "states": RunState.values,
        "failed_count": JobRun.objects.filter(state=RunState.FAILED).count(),
        "waiting": list(open_deliveries()[:A_PAGE]),
        "waiting_count": open_deliveries().count(),
        "given_up": list(given_up_deliveries()[:A_PAGE]),
        "unsent": list(unsent_notices()[:A_PAGE]),
    }
    return render(request, "jobs/jobs.html", context)
