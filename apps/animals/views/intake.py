"""Bought animals: taken in, and kept or sold by their day."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.forms import IntakeForm
from apps.animals.models import Purchase
from apps.animals.selectors import all_species, next_code, purchases_undecided
from apps.animals.services import animal_intake, purchase_decide
from apps.animals.views.acts import posted, refuse
from apps.core import clock
from apps.core.errors import DomainError


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def intake(request: PersonRequest) -> HttpResponse:
    """A bought animal in one act: origin, papers, cost, quarantine, keep-or-sell day; and those to decide on."""
    species = all_species().first()
    given = {"species": species.slug, "code": next_code(species)} if species else {}
    form = IntakeForm(posted(request), request.FILES or None, initial=given)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        file = data.pop("papers")
        try:
            row = animal_intake(
                by=request.user,
                **data,
                papers=file.read() if file else None,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            error.field = "papers" if error.field == "photo" else error.field
            refuse(form, error)
        else:
            messages.success(request, f"{row.animal.code} is registered and in quarantine.")
            return redirect(row.animal)
    rows = list(purchases_undecided())
    context = {
        "form": form,
        "rows": rows,
        "due": sum(1 for row in rows if row.decide_on and row.decide_on <= clock.today()),
        "today": clock.today(),
        "may_money": may(request.user, Permission.MONEY_READ),
        "may_decide": may(request.user, Permission.ANIMALS_EDIT),
    }
    return render(request, "animals/intake.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.ANIMALS_EDIT)
def decide(request: PersonRequest, ref: str) -> HttpResponse:
    """Keep or sell a bought animal."""
    row = get_object_or_404(Purchase.objects.select_related("animal"), ref=ref)
    done = purchase_decide(
        by=request.user,
        purchase=row,
        decision=request.POST.get("decision", ""),
        request_key=request.POST.get("request_key"),
    )
    messages.success(request, f"{done.animal.code}: {done.decision}.")
    return redirect("animals:intake")
