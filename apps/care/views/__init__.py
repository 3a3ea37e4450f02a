"""Pages of daily care: one animal, a rack in two passes, health notes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, requires
from apps.animals.models import Animal
from apps.care import services
from apps.care.forms import RackOfferForm, StrikeForm
from apps.care.models import HealthNote, MealOffer
from apps.care.pages.quick import quick_page
from apps.care.pages.rack import check_page, offer_page, offered_to
from apps.care.policies import check_strike, may_strike, needs_reason
from apps.care.selectors import health_notes, open_health_notes
from apps.care.selectors.racks import racks_to_feed
from apps.care.selectors.timeline import entries_asked, entry_of, fact_by_key
from apps.care.views.acting import act_forms, posted_act, refuse
from apps.core.errors import DomainError, Invalid, Many
from apps.core.formats import count_text
from apps.places.models import Rack

NOTES_A_PAGE = 50


@requires(Permission.READ, write=Permission.CARE_RECORD)
def animal_care(request: PersonRequest, ref: str) -> HttpResponse:
    """One animal: everything that is recorded by hand, two taps each."""
    animal = get_object_or_404(Animal.objects.select_related("species", "tub__rack__room"), ref=ref)
    bound: dict[str, forms.Form] = {}
    if request.method == "POST":
        bound = posted_act(request, animal)
        if not bound:
            return redirect("care:animal", ref=animal.ref)
    page = quick_page(animal)
    shown = act_forms(bound, page.offer_initial)
    questioned = "weight" in bound and bound["weight"].has_error("mass_g", code="questioned")
    asked = entries_asked(animal, request.GET.getlist("entry"), page.entries)
    entries = [(entry, may_strike(request.user, entry.fact)) for entry in asked]
    context = {"page": page, "animal": animal, "forms": shown, "questioned": questioned, "entries": entries}
    return render(request, "care/animal.html", context, status=400 if bound else 200)


@requires(Permission.READ, write=Permission.STRIKE_OWN)
def entry_strike(request: PersonRequest, ref: str) -> HttpResponse:
    """Strike out one entry of an animal: at once within ten minutes of an own one, else with a reason."""
    animal = get_object_or_404(Animal, ref=ref)
    fact = fact_by_key(animal, request.POST.get("entry") or request.GET.get("entry", ""))
    form = StrikeForm(request.POST or None)
    asks = needs_reason(request.user, fact)
    if request.method == "POST" and form.is_valid():
        try:
            services.fact_strike(
                by=request.user,
                fact=fact,
                reason=form.cleaned_data["reason"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{animal.code}: struck out, {entry_of(fact).words}.")
            return redirect("care:animal", ref=animal.ref)
    elif request.method == "GET":
        check_strike(request.user, fact, "other")
    context = {"animal": animal, "entry": entry_of(fact), "form": form, "asks": asks}
    return render(request, "care/strike.html", context, status=400 if form.errors else 200)


@requires(Permission.READ)
def feeding(request: PersonRequest) -> HttpResponse:
    """Every rack in walking order, with what waits for a check."""
    rows = racks_to_feed()
    waiting = sum(row.waiting for row in rows)
    late = sum(row.late for row in rows)
    return render(request, "care/feeding.html", {"rows": rows, "waiting": waiting, "late": late})


@requires(Permission.READ, write=Permission.CARE_RECORD)
def rack_offer(request: PersonRequest, ref: str) -> HttpResponse:
    """The first pass over a rack: the same food to all, exceptions tapped."""
    rack = get_object_or_404(Rack.objects.select_related("room"), ref=ref)
    tapped, shown = set(request.POST.getlist("skip")), set(request.POST.getlist("shown"))
    form = RackOfferForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            offers = services.meals_offer(
                by=request.user,
                animals=offered_to(rack, shown - tapped),
                **form.cleaned_data,
                rack=rack,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            words = f"{rack.name}: offered to {len(offers)}, skipped {len(tapped & shown)}. Check later what they ate."
            messages.success(request, words)
            return redirect("care:rack-check", ref=rack.ref)
    page = offer_page(rack, tapped if request.method == "POST" else None, request.GET.get("food", "")[:60])
    planned = next((group.initial for group in page.foods if group.chosen), None)
    form.initial = dict(planned) if planned else _usual_food(rack)
    context = {"page": page, "rack": rack, "form": form, "food_words": _food_words(form.initial)}
    return render(request, "care/rack_offer.html", context, status=400 if form.errors else 200)


def _usual_food(rack: Rack) -> dict[str, object]:
    """What this rack was last offered; nothing when it never was."""
    last = (
        MealOffer.objects.filter(animal__tub__rack=rack, struck_at__isnull=True)
        .order_by("-observed_at", "-pk")
        .values("prey", "size", "prey_g", "count", "presentation")
        .first()
    )
    return dict(last) if last else {"count": 1}


def _food_words(food: Mapping[str, Any]) -> str:
    """``2 small rat, thawed``, from what the form is filled in with."""
    if not food.get("prey"):
        return ""
    many = f"{food['count']} " if food.get("count", 1) != 1 else ""
    size = f"{food['size']} " if food.get("size") else ""
    mass = f", {food['prey_g']:g} g each" if food.get("prey_g") else ""
    return f"{many}{size}{food['prey']}, {food['presentation']}{mass}"


@requires(Permission.READ, write=Permission.CARE_RECORD)
def rack_check(request: PersonRequest, ref: str) -> HttpResponse:
    """The second pass: tap what they left; one button records the rest as eaten. ``?one=1`` asks one by one."""
    rack = get_object_or_404(Rack.objects.select_related("room"), ref=ref)
    one_by_one = "one" in request.GET or "one" in request.POST
    refused: list[str] = []
    left = set(request.POST.getlist("left"))
    if request.method == "POST":
        fates = {value: "left" if value in left else "ate" for value in request.POST.getlist("shown")}
        if one_by_one:
            fates = {value: request.POST.get(f"fate-{value}", "") for value in fates}
        try:
            words = _rack_check_write(request.user, rack, fates, request.POST.get("request_key"))
        except DomainError as error:
            refused = [one.message for one in error.errors] if isinstance(error, Many) else [error.message]
        else:
            messages.success(request, words)
            return redirect("care:feeding")
    context = {"page": check_page(rack, left), "rack": rack, "refused": refused, "one_by_one": one_by_one}
    return render(request, "care/rack_check.html", context, status=400 if refused else 200)


def _rack_check_write(by: Person, rack: Rack, fates: dict[str, str], key: str | None) -> str:
    """Record the fates of a rack; values are offer numbers joined by dots, an empty fate stays unchecked."""
    wanted = {
        int(pk): fate
        for value, fate in fates.items()
        if fate
        for pk in value.split(".")
        if pk.isdigit() and len(pk) < 19
    }
    offers = {
        offer.pk: offer
        for offer in MealOffer.objects.filter(pk__in=wanted, animal__tub__rack=rack).select_related("animal__species")
    }
    gone = len(wanted) - len(offers)
    if gone:
        raise Invalid(
            f"{count_text(gone, 'meal')} of this page moved to another rack meanwhile. Look again.", field="offers"
        )
    groups = {
        fate: [offers[pk] for pk, said in wanted.items() if said == fate] for fate in ("ate", "left", "regurgitated")
    }
    services.meals_check(
        by=by,
        ate=groups["ate"],
        left=groups["left"],
        regurgitated=groups["regurgitated"],
        rack=rack,
        request_key=key,
    )
    still = sum(1 for fate in fates.values() if not fate)
    more = f", {len(groups['regurgitated'])} regurgitated" if groups["regurgitated"] else ""
    unchecked = f", {still} still not checked" if still else ""
    return f"{rack.name}: {len(groups['ate'])} ate, {len(groups['left'])} left{more}{unchecked}."


@requires(Permission.READ)
def notes(request: PersonRequest) -> HttpResponse:
    """Health notes, open ones first; closed and struck ones after them."""
    page = Paginator(health_notes(), NOTES_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "care/notes.html", {"page": page, "open_count": open_health_notes().count()})


@require_POST
@requires(Permission.CARE_RECORD)
def note_close(request: PersonRequest, ref: str) -> HttpResponse:
    """Close a health note."""
    note = get_object_or_404(HealthNote.objects.select_related("animal"), ref=ref)
    services.health_note_close(by=request.user, note=note, request_key=request.POST.get("request_key"))
    messages.success(request, f"{note.animal.code}: note closed.")
    return redirect("care:notes")
