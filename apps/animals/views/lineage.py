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
    """Forebears drawn (``up`` generations, ``zoom`` percent), beliefs with their grounds, descendants brood by brood;
    ``series`` opens one percentage.
    """
    animal = animal_of(ref)
    up, zoom = (int(said) if said.isdigit() else 0 for said in (request.GET.get(n, "") for n in ("up", "zoom")))
    page = lineage_page(animal, up=up, zoom=zoom, series=request.GET.get("series", "")[:40])
    may_settle = may(request.user, Permission.ANIMALS_EDIT)
    return render(request, "animals/lineage.html", {"page": page, "animal": animal, "may_settle": may_settle})


@requires(Permission.READ)
def doubts(request: PersonRequest) -> HttpResponse:
    """Every young that does not fit its recorded parents, with the likeliest explanations."""
    return render(request, "animals/doubts.html", {"doubts": doubts_open()})
