"""The page of the rota."""

from __future__ import annotations

from datetime import date

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.models import Species
from apps.breeding import services
from apps.breeding.forms import WishForm, refuse
from apps.breeding.models import Rota, RotaLine, RotaWish
from apps.breeding.pages.rota import rota_page
from apps.breeding.selectors.board import board_species
from apps.core.errors import DomainError
from apps.core.formats import day_text
from apps.engines.rota import DeadlineExceeded


@requires(Permission.READ, write=Permission.VISITS_RECORD)
def rota(request: PersonRequest) -> HttpResponse:
    """Look at a week; plan anew, publish, pin, veto, begin."""
    kinds = board_species()
    if not kinds:
        return render(request, "breeding/rota.html", {"page": None, "form": WishForm()})
    species = next((one for one in kinds if one.slug == request.GET.get("species")), kinds[0])
    form: forms.Form = WishForm(initial={"week_of": request.GET.get("week", "")})
    if request.method == "POST":
        if request.POST.get("act") in {"pin", "veto"}:
            form = WishForm(request.POST)
            if form.is_valid() and _wish(request, form):
                return redirect(request.get_full_path())
        else:
            _act(request, species)
            return redirect(request.get_full_path())
    page = rota_page(request.user, species, _week(request.GET.get("week", "")))
    context = {"page": page, "form": form, "kinds": kinds}
    return render(request, "breeding/rota.html", context, status=400 if form.errors else 200)


def _week(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise Http404(f"“{text}” is not a day") from None


def _wish(request: PersonRequest, form: forms.Form) -> bool:
    given = {**form.cleaned_data, "by": request.user, "request_key": request.POST.get("request_key") or None}
    try:
        if request.POST["act"] == "pin":
            wish = services.rota_pin(**given)
        else:
            wish = services.rota_veto(**given)
    except DomainError as error:
        refuse(form, error)
        return False
    when = "in every week" if wish.week_of is None else f"in the week of {day_text(wish.week_of)}"
    messages.success(
        request, f"{wish.male.code} with {wish.female.code} {when}: {wish.kind} kept. Plan anew to see it."
    )
    return True


def _act(request: PersonRequest, species: Species) -> None:
    act, key, by = request.POST.get("act", ""), request.POST.get("request_key") or None, request.user
    try:
        if act == "plan":
            made = services.rota_plan(by=by, species=species, request_key=key)
            messages.success(request, f"{made.lines.count()} visits are planned.")
        elif act == "publish":
            services.rota_publish(by=by, rota=get_object_or_404(Rota, ref=request.POST.get("rota")), request_key=key)
            messages.success(request, "Published: keepers work from it, and this week is kept when it is planned anew.")
        elif act == "withdraw":
            wish = get_object_or_404(RotaWish, ref=request.POST.get("wish"))
            services.rota_wish_withdraw(by=by, wish=wish, request_key=key)
            messages.success(request, f"The {wish.kind} is withdrawn. Plan anew to see what changes.")
        elif act == "begin":
            line = get_object_or_404(RotaLine, ref=request.POST.get("line"))
            visit = services.rota_visit_begin(by=by, line=line, request_key=key)
            messages.success(request, f"{visit.male.code} is with {visit.female.code}.")
            if visit.against_gate:
                messages.warning(request, f"Recorded against the gate: {visit.against_gate}")
    except DomainError as error:
        messages.error(request, error.message)
    except DeadlineExceeded:
        messages.error(request, "There was no time for a plan. Try again in a minute.")
