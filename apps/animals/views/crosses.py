"""The page of a cross, and the values its young are weighed by."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import Sex
from apps.animals.forms import CrossForm, TraitValueForm
from apps.animals.models import Species, TraitValue
from apps.animals.pages.crosses import CrossPage, cross_page
from apps.animals.selectors.crosses import CrossAsked, cross_answer
from apps.animals.selectors.trait_values import trait_values
from apps.animals.services import trait_value_drop, trait_value_set
from apps.animals.views.acts import posted, refuse
from apps.core.errors import DomainError


@requires(Permission.READ)
def cross(request: PersonRequest) -> HttpResponse:
    """Odds of two animals; the question stands whole in the address, so that it can be sent to somebody."""
    asked = bool(request.GET.get("dam", "").strip() or request.GET.get("sire", "").strip())
    first = Species.objects.filter(has_profile=True).order_by("-common").filter(slug="python-regius").first()
    start = request.GET.get("species") or (first.slug if first else "")
    form = CrossForm(request.GET if asked else None, initial={**request.GET.dict(), "species": start})
    page: CrossPage | None = None
    if asked and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            answer = cross_answer(CrossAsked(**data))
        except DomainError as error:
            refuse(form, error)
        else:
            page = cross_page(answer, show_money=may(request.user, Permission.MONEY_READ))
    context = {
        "form": form,
        "page": page,
        "asked": asked,
        "link": f"{request.path}?{urlencode({k: v for k, v in request.GET.items() if v})}" if page else "",
        "species": form.cleaned_data.get("species") if form.is_bound and hasattr(form, "cleaned_data") else first,
        "may_value": may(request.user, Permission.TRAITS_EDIT),
    }
    # a question that cannot be answered is an ordinary page: it is asked anew with every letter typed
    return render(request, "animals/cross.html", context)


@requires(Permission.MONEY_READ, write=Permission.TRAITS_EDIT)
def values(request: PersonRequest, ref: str) -> HttpResponse:
    """What young of each trait set are worth here."""
    species = get_object_or_404(Species, ref=ref)
    form = TraitValueForm(posted(request))
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            row = trait_value_set(
                by=request.user,
                species=species,
                notation=data["notation"],
                amount_minor=data["amount"],
                sex=Sex(data["sex"]),
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{row.notation} saved.")
            return redirect("animals:trait-values", ref=species.ref)
    context = {
        "species": species,
        "rows": trait_values(species),
        "form": form,
        "may_edit": may(request.user, Permission.TRAITS_EDIT),
    }
    return render(request, "animals/trait_values.html", context, status=400 if form.errors else 200)


@requires(Permission.TRAITS_EDIT)
@require_POST
def value_drop(request: PersonRequest, ref: str) -> HttpResponse:
    """Take a value away."""
    row = get_object_or_404(TraitValue.objects.select_related("species"), ref=ref)
    species = row.species
    trait_value_drop(by=request.user, value=row, request_key=request.POST.get("request_key"))
    messages.success(request, f"{row.notation} has no value now.")
    return redirect("animals:trait-values", ref=species.ref)
