"""Pages of the incubation room."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import Mode, Sex
from apps.animals.models import Animal, Brood
from apps.animals.selectors import animal_by_code
from apps.core import clock
from apps.core.errors import DomainError
from apps.core.formats import count_text
from apps.incubation import services
from apps.incubation.choices import CheckKind, EggState, Finding
from apps.incubation.forms import (
    BoxForm,
    CheckForm,
    IncubatorChangeForm,
    IncubatorForm,
    LayForm,
    ProbeForm,
    local_now,
)
from apps.incubation.models import Box, Egg
from apps.incubation.pages.brood import brood_page
from apps.incubation.pages.room import room_page
from apps.incubation.papers import box_label_make
from apps.incubation.policies import ALIVE
from apps.incubation.selectors.eggs import eggs_of
from apps.places.models import Incubator
from apps.places.services import incubator_add, probe_add


def refuse(form: django_forms.Form, error: DomainError) -> None:
    """Put a service's refusal beside its field."""
    form.add_error(error.field if error.field in form.fields else None, error.message)


@requires(Permission.READ)
def room(request: PersonRequest) -> HttpResponse:
    """The room: incubators, boxes, what needs somebody."""
    page = room_page()
    return render(
        request,
        "incubation/room.html",
        {"page": page, "may_lay": may(request.user, Permission.BROODS_EDIT)},
    )


@requires(Permission.BROODS_EDIT)
def lay(request: PersonRequest) -> HttpResponse:
    """Record a clutch of a female."""
    female = _female(request.POST.get("female") or request.GET.get("female") or "")
    form = LayForm(request.POST if request.method == "POST" and "eggs" in request.POST else None)
    if not form.is_bound:
        form = LayForm(initial={"laid_at": local_now(), "slugs": 0})
    if female is not None and request.method == "POST" and form.is_bound and form.is_valid():
        data = form.cleaned_data
        moment = data["laid_at"].replace(tzinfo=clock.zone())
        finished = data["finished_at"].replace(tzinfo=clock.zone()) if data["finished_at"] else moment
        try:
            brood = services.clutch_lay(
                by=request.user,
                dam=female,
                laying_began=moment,
                laying_finished=finished,
                eggs=data["eggs"],
                slugs=data["slugs"],
                egg_masses_g=data["masses"] or None,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            form.add_error(_LAY_FIELDS.get(error.field or ""), error.message)
        else:
            messages.success(
                request,
                f"{brood.code}: {count_text(data['eggs'], 'egg')} and {count_text(data['slugs'], 'slug')} recorded.",
            )
            return redirect("incubation:brood", ref=brood.ref)
    asked = request.GET.get("female") or request.POST.get("female") or ""
    return render(request, "incubation/lay.html", {"female": female, "form": form, "asked": asked})


_LAY_FIELDS = {
    "eggs": "eggs",
    "slugs": "slugs",
    "egg_masses_g": "masses",
    "began": "laid_at",
    "finished": "finished_at",
    "on": "laid_at",
}


@requires(Permission.READ)
def brood(request: PersonRequest, ref: str) -> HttpResponse:
    """One brood: its eggs, boxes, hatch window, sires."""
    return _brood_page(request, _brood(ref))


@require_POST
@requires(Permission.BROODS_EDIT)
def box_set(request: PersonRequest, ref: str) -> HttpResponse:
    """Put eggs into a box."""
    brood = _brood(ref)
    eggs = list(eggs_of(brood).filter(state=EggState.COLLECTED))
    form = BoxForm(request.POST, eggs=eggs)
    if form.is_valid():
        data = form.cleaned_data
        try:
            box = services.box_set(
                by=request.user,
                brood=brood,
                incubator=data["incubator"],
                eggs=[egg for egg in eggs if egg.ref in data["eggs"]],
                shelf=data["shelf"],
                substrate=data["substrate"],
                water_ratio=data["water_ratio"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Box {box.code} stands in {box.incubator.name}.")
            return redirect("incubation:brood", ref=brood.ref)
    return _brood_page(request, brood, box_form=form)


@require_POST
@requires(Permission.BROODS_EDIT)
def egg_check(request: PersonRequest, ref: str) -> HttpResponse:
    """Record a look at an egg."""
    brood = _brood(ref)
    eggs = list(eggs_of(brood).filter(state__in=ALIVE))
    form = CheckForm(request.POST, eggs=eggs)
    if form.is_valid():
        data = form.cleaned_data
        egg = next(egg for egg in eggs if egg.ref == data["egg"])
        try:
            services.egg_check_record(
                by=request.user,
                egg=egg,
                kind=data["kind"],
                finding=data["finding"],
                mass_g=data["mass_g"],
                note=data["note"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Egg {egg.code} checked.")
            return redirect("incubation:brood", ref=brood.ref)
    return _brood_page(request, brood, check_form=form)


@require_POST
@requires(Permission.BROODS_EDIT)
def eggs_check(request: PersonRequest, ref: str) -> HttpResponse:
    """One look over the ticked eggs of a brood."""
    brood = _brood(ref)
    eggs = list(eggs_of(brood).filter(ref__in=request.POST.getlist("eggs")))
    try:
        made = services.eggs_check_record(
            by=request.user,
            eggs=eggs,
            kind=request.POST.get("kind", CheckKind.LOOKED),
            finding=request.POST.get("finding", ""),
            request_key=request.POST.get("request_key"),
        )
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{len(made)} eggs of {brood.code} looked over.")
    return redirect("incubation:brood", ref=brood.ref)


@require_POST
@requires(Permission.BROODS_EDIT)
def egg_act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    """One act on one egg: pip, slug and back; fail and leave ask a reason."""
    egg = get_object_or_404(Egg.objects.select_related("brood"), ref=ref)
    key = request.POST.get("request_key")
    acts: dict[str, Callable[[], Egg]] = {
        "pip": lambda: services.egg_pip(by=request.user, egg=egg, request_key=key),
        "slug": lambda: services.egg_slug(by=request.user, egg=egg, request_key=key),
        "keep": lambda: services.egg_keep(by=request.user, egg=egg, request_key=key),
        "leave": lambda: services.egg_leave(
            by=request.user, egg=egg, reason=request.POST.get("reason", ""), request_key=key
        ),
        "fail": lambda: services.egg_fail(
            by=request.user, egg=egg, reason=request.POST.get("reason", ""), request_key=key
        ),
    }
    try:
        changed = acts[act]()
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"Egg {changed.code} is {changed.state}.")
    going = request.POST.get("next", "")
    if url_has_allowed_host_and_scheme(going, allowed_hosts={request.get_host()}):
        return redirect(going)
    return redirect("incubation:brood", ref=egg.brood.ref)


@require_POST
@requires(Permission.BROODS_EDIT)
def brood_act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    """One act on a brood: another egg, close, or a box taken out."""
    brood = _brood(ref)
    key = request.POST.get("request_key")
    try:
        if act == "egg":
            egg = services.egg_add(by=request.user, brood=brood, request_key=key)
            messages.success(request, f"Egg {egg.code} added.")
        elif act == "close":
            services.brood_close(by=request.user, brood=brood, request_key=key)
            messages.success(request, f"{brood.code} is closed.")
        else:
            box = get_object_or_404(Box, ref=request.POST.get("box", ""), brood=brood)
            services.box_remove(by=request.user, box=box, request_key=key)
            messages.success(request, f"Box {box.code} is out; its eggs wait for another box.")
    except DomainError as error:
        messages.error(request, error.message)
    return redirect("incubation:brood", ref=brood.ref)


@require_POST
@requires(Permission.READ)
def box_label(request: PersonRequest, ref: str) -> HttpResponse:
    """The label of a box as PDF."""
    box = get_object_or_404(Box.objects.select_related("brood__dam__species", "incubator"), ref=ref)
    document = box_label_make(by=request.user, box=box)
    return redirect(f"/documents/{document.ref}/")


@requires(Permission.READ, write=Permission.INCUBATORS_EDIT)
def incubators(request: PersonRequest) -> HttpResponse:
    """Incubators with their bands and probes; a new one, or a new probe."""
    is_probe = request.method == "POST" and "probe" in request.POST
    form = IncubatorForm(request.POST if request.method == "POST" and not is_probe else None)
    probe_form = ProbeForm(request.POST if is_probe else None, prefix="probe")
    bound: django_forms.Form = probe_form if is_probe else form
    if bound.is_bound and bound.is_valid():
        key = request.POST.get("request_key")
        add = probe_add if is_probe else incubator_add
        try:
            made = add(by=request.user, **bound.cleaned_data, request_key=key)
        except DomainError as error:
            refuse(bound, error)
        else:
            messages.success(request, f"{made.name} is set up.")
            return redirect("incubation:incubators")
    context = {
        "form": form,
        "probe_form": probe_form,
        "rows": Incubator.objects.select_related("room").prefetch_related("probes").order_by("name"),
        "may_edit": may(request.user, Permission.INCUBATORS_EDIT),
    }
    return render(request, "incubation/incubators.html", context, status=400 if bound.errors else 200)


@requires(Permission.INCUBATORS_EDIT)
def incubator_edit(request: PersonRequest, ref: str) -> HttpResponse:
    """Target, band and use of one incubator."""
    incubator = get_object_or_404(Incubator, ref=ref)
    initial = {name: getattr(incubator, name) for name in ("target_c", "low_c", "high_c", "is_active")}
    form = IncubatorChangeForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        key = request.POST.get("request_key")
        try:
            services.incubator_settings_set(by=request.user, incubator=incubator, **form.cleaned_data, request_key=key)
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{incubator.name} saved.")
            return redirect("incubation:incubators")
    context = {"form": form, "incubator": incubator}
    return render(request, "incubation/incubator.html", context, status=400 if form.errors else 200)


def _brood_page(
    request: PersonRequest,
    brood: Brood,
    *,
    box_form: BoxForm | None = None,
    check_form: CheckForm | None = None,
) -> HttpResponse:
    page = brood_page(brood)
    refused = any(form is not None and form.is_bound for form in (box_form, check_form))
    context: dict[str, Any] = {
        "page": page,
        "brood": brood,
        "may_edit": may(request.user, Permission.BROODS_EDIT),
        "may_hatch": may(request.user, Permission.HATCH),
        "box_form": box_form or (BoxForm(eggs=page.collected) if page.collected else None),
        "check_form": check_form or (CheckForm(eggs=page.alive) if page.alive else None),
        "findings": Finding.values,
        "check_kinds": [CheckKind.LOOKED, CheckKind.CANDLED],
    }
    return render(request, "incubation/brood.html", context, status=400 if refused else 200)


def _brood(ref: str) -> Brood:
    return get_object_or_404(Brood.objects.select_related("dam__species", "species"), ref=ref)


def _female(text: str) -> Animal | None:
    """The female of a ref or code, when she is one that lays eggs."""
    animal = animal_by_code(text) if text else None
    if animal is None or animal.sex != Sex.FEMALE or animal.species.mode != Mode.EGGS:
        return None
    return animal
