"""Tasks of places, and a backlog counted from today."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.care import services
from apps.care.forms import BacklogForm, TaskChangeForm, TaskForm, TaskSkipForm
from apps.care.models import BacklogReset, TaskDue
from apps.care.pages.rounds import late_words
from apps.care.policies import may_undo
from apps.care.selectors.backlog import backlog, resets
from apps.care.selectors.tasks import open_times, place_words, shipped_tasks, tasks_live
from apps.care.views.acting import refuse
from apps.core import clock
from apps.core.errors import DomainError
from apps.places.models import Room
from apps.places.selectors import place_names

RECENT = 15


def back(request: PersonRequest, otherwise: str) -> HttpResponse:
    """To where the button stood, when that is a page of this house."""
    wanted = request.POST.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()}, require_https=False)
    return redirect(wanted if wanted and is_ours else otherwise)


@requires(Permission.READ)
def tasks(request: PersonRequest) -> HttpResponse:
    """Tasks that are due, all that go on, and the latest that were done or skipped."""
    times = [(time, place_words(time.task), late_words(time)) for time in open_times()]
    live = [(task, place_words(task)) for task in tasks_live().order_by("next_on", "kind", "pk")]
    closed = TaskDue.objects.exclude(state="open").select_related("task", "closed_by").order_by("-closed_at", "-pk")
    rooms = Room.objects.filter(racks__isnull=False).select_related("site").distinct().order_by("walk_order", "name")
    context = {
        "times": times,
        "late": sum(1 for _, _, late in times if late),
        "live": live,
        "closed": [(row, may_undo(row.closed_at)) for row in closed[:RECENT]],
        "rooms": rooms,
        "usual": shipped_tasks(),
        "may_record": may(request.user, Permission.CARE_RECORD),
        "skip": TaskSkipForm(),
    }
    return render(request, "care/tasks.html", context)


@requires(Permission.READ, write=Permission.CARE_RECORD)
def task_new(request: PersonRequest) -> HttpResponse:
    """Add a task of a site, room, rack or tub."""
    form = TaskForm(request.POST or None, initial=dict(request.GET.items()))
    if request.method == "POST" and form.is_valid():
        try:
            task = services.task_add(by=request.user, **form.values(), request_key=request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Added: {task.words}, {place_words(task)}.")
            return redirect("care:tasks")
    context = {"form": form, "places": place_names()}
    return render(request, "care/task_form.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def tasks_usual(request: PersonRequest) -> HttpResponse:
    """Give a room the tasks it usually has."""
    room = get_object_or_404(Room, ref=request.POST.get("room", ""))
    made = services.tasks_usual_add(by=request.user, room=room, request_key=request.POST.get("request_key"))
    words = f"{room.name}: {len(made)} tasks added." if made else f"{room.name} has its usual tasks already."
    messages.success(request, words)
    return redirect("care:tasks")


@requires(Permission.READ, write=Permission.CARE_RECORD)
def task_one(request: PersonRequest, ref: str) -> HttpResponse:
    """Change a task, or stop it."""
    task = get_object_or_404(tasks_live(), ref=ref)
    if request.POST.get("stop"):
        services.task_stop(by=request.user, task=task, request_key=request.POST.get("request_key"))
        messages.success(request, f"Stopped: {task.words}.")
        return redirect("care:tasks")
    initial: dict[str, Any] = {"words": task.words, "every_days": task.every_days, "next_on": task.next_on}
    form = TaskChangeForm(request.POST or None, initial={**initial, "who": task.who})
    if request.method == "POST" and form.is_valid():
        try:
            services.task_change(
                by=request.user, task=task, values=form.values(), request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, "Changed.")
            return redirect("care:tasks")
    context = {"form": form, "task": task, "place": place_words(task)}
    return render(request, "care/task_form.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def task_done(request: PersonRequest, ref: str) -> HttpResponse:
    """A task is done."""
    time = get_object_or_404(TaskDue.objects.select_related("task"), ref=ref)
    row = services.task_done(by=request.user, time=time, request_key=request.POST.get("request_key"))
    messages.success(request, f"Done: {row.task.words}.")
    return back(request, "care:tasks")


@requires(Permission.READ, write=Permission.CARE_RECORD)
def task_skip(request: PersonRequest, ref: str) -> HttpResponse:
    """A task is left this time, with the reason."""
    time = get_object_or_404(TaskDue.objects.select_related("task"), ref=ref)
    form = TaskSkipForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            row = services.task_skip(
                by=request.user, time=time, **form.cleaned_data, request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Skipped: {row.task.words}, {row.words or row.reason}.")
            return back(request, "care:tasks")
    context = {"form": form, "time": time, "next": request.POST.get("next") or request.GET.get("next", "")}
    return render(request, "care/task_skip.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def task_undo(request: PersonRequest, ref: str) -> HttpResponse:
    """Take a done or skipped task back within its minutes."""
    row = services.task_undo(by=request.user, time=get_object_or_404(TaskDue, ref=ref))
    messages.success(request, f"Due again: {row.task.words}.")
    return redirect("care:tasks")


@requires(Permission.READ, write=Permission.CARE_RECORD)
def backlog_reset(request: PersonRequest) -> HttpResponse:
    """What is late, room by room or all at once, and the one act that counts it from today."""
    wanted = request.POST.get("room") or request.GET.get("room", "")
    room = get_object_or_404(Room, ref=wanted) if wanted else None
    form = BacklogForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.backlog_reset(
                by=request.user,
                room=room,
                reason=form.cleaned_data["reason"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, "Counted from today. What was late is kept below.")
            return redirect("care:backlog")
    past = [(row, row.undone_at is None and may_undo(row.reset_at)) for row in resets()[:RECENT]]
    context = {
        "form": form,
        "late": backlog(room),
        "room": room,
        "rooms": Room.objects.filter(racks__isnull=False).distinct().order_by("walk_order", "name"),
        "past": past,
        "today": clock.today(),
        "may_record": may(request.user, Permission.CARE_RECORD),
    }
    return render(request, "care/backlog.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def backlog_undo(request: PersonRequest, ref: str) -> HttpResponse:
    """Take it back within its minutes."""
    services.backlog_undo(by=request.user, reset=get_object_or_404(BacklogReset, ref=ref))
    messages.success(request, "Taken back: what was late is late again.")
    return redirect("care:backlog")
