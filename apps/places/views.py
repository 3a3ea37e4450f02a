"""Setting places up: sites, rooms, racks, incubators, probes; readings taken by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, check_may, may, requires
from apps.core.errors import DomainError, Many
from apps.places import services
from apps.places.forms import (
    HealthGroupForm,
    IncubatorChangeForm,
    IncubatorForm,
    ProbeForm,
    RackForm,
    ReadingForm,
    RoomForm,
    SiteForm,
)
from apps.places.models import Excursion, HealthGroup, Incubator, Probe, Reading
from apps.places.selectors import latest_readings, rooms_in_walking_order, sites
from apps.places.services.readings import band_of, place_of

Act = Callable[[Person, dict[str, Any], str | None], str]


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, even when it is nothing: an empty entry is answered, not taken for a first look."""
    return request.POST if request.method == "POST" else None


def refuse(form: forms.Form, error: DomainError) -> None:
    """Put a service's refusal beside its field."""
    for one in error.errors if isinstance(error, Many) else [error]:
        form.add_error(one.field if one.field in form.fields else None, forms.ValidationError(one.message, one.code))


def _site(by: Person, data: dict[str, Any], key: str | None) -> str:
    return f"{services.site_add(by=by, **data, request_key=key)} is set up."


def _group(by: Person, data: dict[str, Any], key: str | None) -> str:
    return f"Health group {services.health_group_add(by=by, **data, request_key=key)} is there."


def _room(by: Person, data: dict[str, Any], key: str | None) -> str:
    return f"{services.room_add(by=by, **data, request_key=key)} is set up."


def _rack(by: Person, data: dict[str, Any], key: str | None) -> str:
    rack = services.rack_add(by=by, **data, request_key=key)
    return f"{rack} stands with {rack.levels * rack.columns} tubs. Its labels can be printed now."


def _incubator(by: Person, data: dict[str, Any], key: str | None) -> str:
    return f"{services.incubator_add(by=by, **data, request_key=key)} is set up. It needs a probe to be watched."


def _probe(by: Person, data: dict[str, Any], key: str | None) -> str:
    return f"{services.probe_add(by=by, **data, request_key=key)} is set up."


# name in the address -> (title, what it is, form, act, right)
SETUPS: dict[str, tuple[str, str, type[forms.Form], Act, Permission]] = {
    "site": ("New site", "A building or yard.", SiteForm, _site, Permission.PLACES_EDIT),
    "health-group": (
        "New health group",
        "Rooms of one group may exchange animals and tools; a move across groups is refused.",
        HealthGroupForm,
        _group,
        Permission.PLACES_EDIT,
    ),
    "room": ("New room", "Nursery rooms are walked first, isolation last.", RoomForm, _room, Permission.PLACES_EDIT),
    "rack": ("New rack", "Its tubs are labelled from the top left.", RackForm, _rack, Permission.PLACES_EDIT),
    "incubator": (
        "New incubator",
        "Readings outside the band raise an alarm.",
        IncubatorForm,
        _incubator,
        Permission.INCUBATORS_EDIT,
    ),
    "probe": ("New probe", "A thermometer in one place.", ProbeForm, _probe, Permission.INCUBATORS_EDIT),
}


@requires(Permission.READ)
def setup(request: PersonRequest) -> HttpResponse:
    """What stands, and what can be added."""
    adds = [(name, title) for name, (title, _, _, _, right) in SETUPS.items() if may(request.user, right)]
    probes = list(Probe.objects.select_related("incubator", "rack", "room").order_by("name"))
    read = latest_readings(probes)
    context = {
        "adds": adds,
        "sites": sites(),
        "groups": HealthGroup.objects.order_by("name"),
        "rooms": rooms_in_walking_order(),
        "incubators": Incubator.objects.select_related("room").order_by("name"),
        "probes": [(probe, place_of(probe), read.get(probe.pk)) for probe in probes],
        "may_change": may(request.user, Permission.INCUBATORS_EDIT),
    }
    return render(request, "places/setup.html", context)


@requires(Permission.READ)
def place_add(request: PersonRequest, what: str) -> HttpResponse:
    """Add one of the things of ``SETUPS``; the right depends on which."""
    if what not in SETUPS:
        raise Http404
    title, words, form_class, act, right = SETUPS[what]
    # the service would refuse too; this says so before anything is typed
    check_may(request.user, right)
    given = {name: request.GET[name] for name in ("room", "site", "incubator") if name in request.GET}
    form = form_class(posted(request), initial=given)
    if request.method == "POST" and form.is_valid():
        try:
            done = act(request.user, dict(form.cleaned_data), request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, done)
            return redirect("places:setup")
    context = {"form": form, "title": title, "words": words}
    return render(request, "places/add.html", context, status=400 if form.errors else 200)


@requires(Permission.READ, write=Permission.INCUBATORS_EDIT)
def incubator_change(request: PersonRequest, ref: str) -> HttpResponse:
    """Target, band, in use or not."""
    incubator = get_object_or_404(Incubator.objects.select_related("room"), ref=ref)
    given = {name: getattr(incubator, name) for name in ("target_c", "low_c", "high_c", "is_active")}
    form = IncubatorChangeForm(posted(request), initial=given)
    if request.method == "POST" and form.is_valid():
        try:
            services.incubator_change(
                by=request.user,
                incubator=incubator,
                **form.cleaned_data,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{incubator.name} changed. Set the incubator itself too.")
            return redirect("places:setup")
    words = f"In {incubator.room}. A change here moves what raises an alarm; the incubator itself is set by hand."
    context = {"form": form, "title": incubator.name, "words": words}
    return render(request, "places/add.html", context, status=400 if form.errors else 200)


@requires(Permission.READ, write=Permission.INCUBATORS_EDIT)
def probe(request: PersonRequest, ref: str) -> HttpResponse:
    """What a probe read lately, its excursions, and a reading taken by hand."""
    found = get_object_or_404(Probe.objects.select_related("incubator", "rack", "room"), ref=ref)
    form = ReadingForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            services.readings_record(
                by=request.user,
                probe=found,
                readings=[(form.cleaned_data["at"], form.cleaned_data["temp_c"])],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{found.name}: {form.cleaned_data['temp_c']:g} °C kept.")
            return redirect("places:probe", ref=found.ref)
    context = {
        "probe": found,
        "place": place_of(found),
        "band": band_of(found),
        "readings": Reading.objects.filter(probe=found).order_by("-at")[:30],
        "excursions": Excursion.objects.filter(probe=found).order_by("-began_at")[:30],
        "form": form,
        "may_record": may(request.user, Permission.INCUBATORS_EDIT),
    }
    return render(request, "places/probe.html", context, status=400 if form.errors else 200)
