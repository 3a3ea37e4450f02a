"""Rounds: the house in walking order, one room's round, one tub of it, the hand-over, the sheet."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.care import services
from apps.care.choices import SkipReason
from apps.care.forms import RoundCloseForm
from apps.care.models import CareRound, RoundClaim
from apps.care.pages.house import room_rows
from apps.care.pages.round_tub import label_in_round, tub_page
from apps.care.pages.rounds import round_page
from apps.care.papers import round_sheet_make
from apps.care.policies import may_strike, may_undo
from apps.care.selectors.rooms_due import rooms_due, rounds
from apps.care.selectors.timeline import entries_of
from apps.care.views.acting import act_forms, posted_act, refuse
from apps.core import clock
from apps.core.errors import DomainError
from apps.places.models import Rack, Room, Tub

RECENT = 12


def round_or_404(ref: str) -> CareRound:
    """The round with what is shown of it."""
    found = rounds().filter(ref=ref).first()
    if found is None:
        raise Http404
    return found


@requires(Permission.READ)
def round_list(request: PersonRequest) -> HttpResponse:
    """Every room in walking order with what is due in it, its open round, and the latest hand-overs."""
    house = rooms_due()
    context = {
        "rows": room_rows(house),
        "house": house,
        "recent": list(rounds().filter(closed_at__isnull=False)[:RECENT]),
        "may_record": may(request.user, Permission.CARE_RECORD),
    }
    return render(request, "care/rounds.html", context)


@require_POST
@requires(Permission.CARE_RECORD)
def round_open(request: PersonRequest) -> HttpResponse:
    """Open a room's round, or continue the one that is open."""
    room = get_object_or_404(Room, ref=request.POST.get("room", ""))
    made = services.round_open(by=request.user, room=room, request_key=request.POST.get("request_key"))
    if made.opened_by_id != request.user.pk:
        messages.success(request, f"{room.name}: you continue the round that {made.opened_by.name} opened.")
    return redirect("care:round", ref=made.ref)


@requires(Permission.READ)
def round_one(request: PersonRequest, ref: str) -> HttpResponse:
    """A room's round: its racks drawn as they stand; handed over, its summary."""
    care_round = round_or_404(ref)
    if care_round.closed_at is not None:
        context = {
            "round": care_round,
            "summary": care_round.summary,
            "may_undo": may_undo(care_round.closed_at) and may(request.user, Permission.CARE_RECORD),
        }
        return render(request, "care/round_closed.html", context)
    found = None
    if "label" in request.GET:
        found = label_in_round(care_round, request.GET["label"])
        if found.tub is not None:
            more = f"?animal={found.animal_ref}" if found.animal_ref else ""
            return redirect(reverse("care:round-tub", args=[care_round.ref, found.tub.ref]) + more)
    page = round_page(care_round, request.GET.get("rack", ""))
    context = {
        "page": page,
        "round": care_round,
        "found": found,
        "reasons": SkipReason.values,
        "may_record": may(request.user, Permission.CARE_RECORD),
        "today": clock.today(),
    }
    return render(request, "care/round.html", context, status=404 if found is not None else 200)


@requires(Permission.READ, write=Permission.CARE_RECORD)
def round_tub(request: PersonRequest, ref: str, tub_ref: str) -> HttpResponse:
    """One tub of a round: everything due there, two taps each, and the next tub at the foot."""
    care_round = round_or_404(ref)
    tub = get_object_or_404(Tub.objects.select_related("rack__room__site"), ref=tub_ref)
    if tub.rack.room_id != care_round.room_id:
        return redirect(f"{care_round.get_absolute_url()}?label={tub.label}")
    asked = request.POST.get("animal") or request.GET.get("animal", "")
    page = tub_page(care_round, tub, asked)
    bound: dict[str, Any] = {}
    if request.method == "POST" and page.animal is not None:
        bound = posted_act(request, page.animal)
        if not bound:
            more = f"?animal={page.animal.ref}" if len(page.animals) > 1 else ""
            return redirect(reverse("care:round-tub", args=[care_round.ref, tub.ref]) + more)
    entries = []
    if page.animal is not None:
        entries = [
            (entry, may_strike(request.user, entry.fact))
            for entry in entries_of(page.animal, limit=6)
            if clock.day_of(entry.fact.recorded_at) == clock.today()
        ]
    context = {
        "page": page.quick,
        "tub_page": page,
        "round": care_round,
        "animal": page.animal,
        "forms": act_forms(bound, page.quick.offer_initial if page.quick else None),
        "questioned": "weight" in bound and bound["weight"].has_error("mass_g", code="questioned"),
        "doses": page.doses,
        "entries": entries,
        "reasons": SkipReason.values,
        "first_parts": [f"care/acts/_{part}.html" for part in page.first],
        "rest_parts": [f"care/acts/_{part}.html" for part in page.rest],
        "rest_open": any(name not in page.first for name in bound),
        "may_record": may(request.user, Permission.CARE_RECORD),
    }
    return render(request, "care/round_tub.html", context, status=400 if bound else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def round_claim(request: PersonRequest, ref: str) -> HttpResponse:
    """Take a rack or a tub of it, take it over from a colleague, or give it back."""
    care_round = round_or_404(ref)
    rack = get_object_or_404(Rack, ref=request.POST.get("rack", ""))
    tub = get_object_or_404(Tub, ref=request.POST["tub"]) if request.POST.get("tub") else None
    here = f"{care_round.get_absolute_url()}?rack={rack.ref}"
    if request.POST.get("release"):
        held = RoundClaim.objects.filter(round=care_round, rack=rack, tub=tub, released_at__isnull=True)
        for claim in held.select_related("round", "rack"):
            services.round_release(by=request.user, claim=claim)
        return redirect(here)
    services.round_claim(
        by=request.user,
        care_round=care_round,
        rack=rack,
        tub=tub,
        take_over=bool(request.POST.get("take_over")),
        request_key=request.POST.get("request_key"),
    )
    messages.success(request, f"{tub or rack} is yours; colleagues see it.")
    return redirect(here)


@requires(Permission.READ, write=Permission.CARE_RECORD)
def round_close(request: PersonRequest, ref: str) -> HttpResponse:
    """Hand the round over, with words for whoever walks next."""
    care_round = round_or_404(ref)
    form = RoundCloseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.round_close(
                by=request.user,
                care_round=care_round,
                note=form.cleaned_data["note"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            return redirect(care_round.get_absolute_url())
    if request.method == "GET" and care_round.closed_at is not None:
        return redirect(care_round.get_absolute_url())
    context = {"form": form, "round": care_round, "page": round_page(care_round)}
    return render(request, "care/round_close.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.CARE_RECORD)
def round_reopen(request: PersonRequest, ref: str) -> HttpResponse:
    """Take a hand-over back within its minutes."""
    care_round = services.round_reopen(by=request.user, care_round=round_or_404(ref))
    messages.success(request, f"{care_round.room.name}: the round goes on.")
    return redirect(care_round.get_absolute_url())


@require_POST
@requires(Permission.READ)
def round_sheet(request: PersonRequest, ref: str) -> HttpResponse:
    """The round as a sheet to write on by hand."""
    return redirect("documents:document", round_sheet_make(by=request.user, care_round=round_or_404(ref)).ref)
