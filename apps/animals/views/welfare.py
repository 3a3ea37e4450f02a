"""Welfare facts of a species, and the owner's lifts of those that block."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.forms import WelfareLiftForm
from apps.animals.models import Species, WelfareLift
from apps.animals.selectors.welfare import welfare_lifts, welfare_states
from apps.animals.services import welfare_lift, welfare_lift_withdraw
from apps.animals.views.acts import posted, refuse
from apps.core.errors import DomainError


@requires(Permission.READ, write=Permission.WELFARE_LIFT)
def welfare(request: PersonRequest, ref: str) -> HttpResponse:
    """Every fact with its evidence, what blocks, what is lifted by whom and why; the owner lifts one by its name."""
    species = get_object_or_404(Species, ref=ref)
    states = welfare_states(species)
    names = [state.fact.name for state in states if state.fact.blocks and state.lift is None]
    form = WelfareLiftForm(posted(request), names=names)
    if request.method == "POST" and form.is_valid():
        try:
            lift = welfare_lift(
                by=request.user, species=species, **form.cleaned_data, request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{lift.pattern} is lifted: such crosses may be suggested and valued.")
            return redirect("animals:welfare", ref=species.ref)
    context = {
        "species": species,
        "states": states,
        "blocking": sum(state.fact.blocks for state in states),
        "lifted": sum(state.lift is not None for state in states),
        "past": [lift for lift in welfare_lifts(species) if lift.withdrawn_at is not None],
        "form": form,
        "may_lift": may(request.user, Permission.WELFARE_LIFT) and bool(names),
        "may_withdraw": may(request.user, Permission.TRAITS_EDIT),
    }
    return render(request, "animals/welfare.html", context, status=400 if form.errors else 200)


@requires(Permission.TRAITS_EDIT)
@require_POST
def withdraw(request: PersonRequest, ref: str) -> HttpResponse:
    """Block again what was lifted."""
    lift = get_object_or_404(WelfareLift.objects.select_related("species"), ref=ref)
    try:
        welfare_lift_withdraw(
            by=request.user,
            lift=lift,
            reason=request.POST.get("reason", ""),
            request_key=request.POST.get("request_key"),
        )
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{lift.pattern} blocks again.")
    return redirect("animals:welfare", ref=lift.species.ref)
