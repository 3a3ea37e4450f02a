"""The page of all visits: where each male is now."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.breeding import services
from apps.breeding.forms import PairForm, refuse
from apps.breeding.models import Visit
from apps.breeding.pages.visits import visits_page
from apps.breeding.selectors.board import board_species
from apps.breeding.selectors.profiles import species_profile
from apps.core.errors import DomainError


@requires(Permission.READ, write=Permission.VISITS_RECORD)
def visits(request: PersonRequest) -> HttpResponse:
    """Begin, end, lock."""
    form: forms.Form = PairForm()
    if request.method == "POST":
        act = request.POST.get("act", "")
        if act == "begin":
            form = PairForm(request.POST)
            if form.is_valid() and _begin(request, form):
                return redirect("breeding:visits")
        else:
            _live(request, act)
            return redirect("breeding:visits")
    kinds = board_species()
    usual = species_profile(kinds[0]).number("gate.visit_days") if kinds else None
    context = {"page": visits_page(request.user, usual), "form": form}
    return render(request, "breeding/visits.html", context, status=400 if form.errors else 200)


def _begin(request: PersonRequest, form: PairForm) -> bool:
    try:
        visit = services.visit_begin(
            by=request.user, request_key=request.POST.get("request_key") or None, **form.cleaned_data
        )
    except DomainError as error:
        refuse(form, error)
        return False
    messages.success(request, f"{visit.male.code} is with {visit.female.code}.")
    if visit.against_gate:
        messages.warning(request, f"Recorded against the gate: {visit.against_gate}")
    return True


def _live(request: PersonRequest, act: str) -> None:
    visit = get_object_or_404(
        Visit.objects.select_related("male", "female", "season"), ref=request.POST.get("visit", "")
    )
    key = request.POST.get("request_key") or None
    try:
        if act == "lock":
            services.lock_record(by=request.user, visit=visit, request_key=key)
            messages.success(request, f"{visit.male.code} with {visit.female.code}: lock recorded.")
        elif act == "end":
            services.visit_end(by=request.user, visit=visit, request_key=key)
            messages.success(request, f"{visit.male.code} is out again.")
    except DomainError as error:
        messages.error(request, error.message)
