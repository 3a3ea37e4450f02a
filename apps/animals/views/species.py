"""Species, the numbers that drive advice with their sources, and who sired a brood."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import SireHypothesis, SireModel
from apps.animals.forms import NumberForm, SiresForm, SpeciesForm
from apps.animals.models import Brood, Species, Trait
from apps.animals.selectors import all_species, number_rows
from apps.animals.services import SireShare, brood_sires_set, species_add, species_number_set
from apps.animals.views.acts import posted, refuse
from apps.core.errors import DomainError


@requires(Permission.READ, write=Permission.TRAITS_EDIT)
def species_list(request: PersonRequest) -> HttpResponse:
    """Every species, and the form for another."""
    form = SpeciesForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            made = species_add(by=request.user, **form.cleaned_data, request_key=request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{made} is there. Without a profile it has records and no advice.")
            return redirect("animals:species-list")
    context = {"rows": all_species(), "form": form, "may_edit": may(request.user, Permission.TRAITS_EDIT)}
    return render(request, "animals/species_list.html", context, status=400 if form.errors else 200)


@requires(Permission.READ)
def species(request: PersonRequest, ref: str) -> HttpResponse:
    """The numbers in force with unit, source and confidence; its traits."""
    found = get_object_or_404(Species, ref=ref)
    context = {
        "species": found,
        "numbers": sorted(number_rows(found).values(), key=lambda row: row.key),
        "traits": Trait.objects.filter(species=found).order_by("name"),
        "may_edit": may(request.user, Permission.TRAITS_EDIT),
        "may_see_values": may(request.user, Permission.MONEY_READ),
    }
    return render(request, "animals/species.html", context)


@requires(Permission.READ, write=Permission.TRAITS_EDIT)
def number(request: PersonRequest, ref: str, key: str) -> HttpResponse:
    """Put the facility's own number over the shipped one."""
    found = get_object_or_404(Species, ref=ref)
    row = number_rows(found).get(key)
    if row is None:
        raise Http404
    form = NumberForm(posted(request), initial={"value": f"{row.value:g}"})
    if request.method == "POST" and form.is_valid():
        try:
            species_number_set(
                by=request.user,
                species=found,
                key=key,
                **form.cleaned_data,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{key} is {form.cleaned_data['value']:g} {row.unit} here from today.")
            return redirect("animals:species", ref=found.ref)
    return render(
        request, "animals/number.html", {"species": found, "row": row, "form": form}, status=400 if form.errors else 200
    )


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def brood_sires(request: PersonRequest, ref: str) -> HttpResponse:
    """Who may have sired a brood."""
    brood = get_object_or_404(Brood.objects.select_related("dam"), ref=ref)
    form = SiresForm(posted(request), initial=_given(brood))
    if request.method == "POST" and form.is_valid():
        try:
            brood_sires_set(
                by=request.user,
                brood=brood,
                sire_model=SireModel(form.cleaned_data["sire_model"]),
                shares=_shares(form.cleaned_data),
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Sires of {brood.code} saved.")
            return redirect("animals:brood-sires", ref=brood.ref)
    candidates = brood.sire_candidates.select_related("male").order_by("-prior")
    context = {
        "brood": brood,
        "form": form,
        "candidates": candidates,
        "may_edit": may(request.user, Permission.ANIMALS_EDIT),
    }
    return render(request, "animals/brood_sires.html", context, status=400 if form.errors else 200)


def _given(brood: Brood) -> dict[str, Any]:
    given: dict[str, Any] = {"sire_model": brood.sire_model}
    males = 0
    for row in brood.sire_candidates.select_related("male").order_by("-prior"):
        if row.hypothesis == SireHypothesis.STORED and row.male is None:
            given["stored"] = f"{row.prior * 100:g}"
        elif row.male is not None and males < 3:
            males += 1
            given |= {f"male_{males}": row.male.code, f"share_{males}": f"{row.prior * 100:g}"}
    return given


def _shares(data: dict[str, Any]) -> list[SireShare]:
    shares = [
        SireShare(
            SireHypothesis.MALE, (data[f"share_{place}"] or 0) / 100, male=data[f"male_{place}"], evidence="by hand"
        )
        for place in (1, 2, 3)
        if data[f"male_{place}"] is not None
    ]
    if data["stored"]:
        shares.append(SireShare(SireHypothesis.STORED, data["stored"] / 100, evidence="by hand"))
    return shares
