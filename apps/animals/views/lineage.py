"""Lineage: the chart of one animal with what it carries, and what each percentage rests on."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.pages.lineage import lineage_page
from apps.animals.selectors.beliefs import doubts_open
from apps.animals.views.acts import animal_of


@requires(Permission.READ)
def lineage(request: PersonRequest, ref: str) -> HttpResponse:
    """Forebears drawn, beliefs with their grounds, young folded; ``series`` opens one percentage."""
    animal = animal_of(ref)
    asked = request.GET.get("up", "")
    up = int(asked) if asked.isdigit() else 3
    page = lineage_page(animal, up=up, series=request.GET.get("series", "")[:40])
    may_settle = may(request.user, Permission.ANIMALS_EDIT)
    return render(request, "animals/lineage.html", {"page": page, "animal": animal, "may_settle": may_settle})


@requires(Permission.READ)
def doubts(request: PersonRequest) -> HttpResponse:
    """Every young that does not fit its recorded parents, with the likeliest explanations."""
    return render(request, "animals/doubts.html", {"doubts": doubts_open()})
