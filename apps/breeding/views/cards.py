"""Tub cards: an animal's last meals, scans and visits on paper."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.selectors.labels import PLACES, LabelKind, labels_wanted
from apps.breeding.papers import tub_cards_make


@require_POST
@requires(Permission.READ)
def tub_cards(request: PersonRequest) -> HttpResponse:
    """The cards of the animals named, or of everybody in a rack, a room, a site or a tub, as one PDF."""
    place = next((name for name in PLACES if request.POST.get(name)), "")
    wanted = labels_wanted(
        kind=LabelKind.ANIMALS,
        place=place,
        ref=request.POST.get(place, ""),
        refs=request.POST.getlist("animals"),
    )
    return redirect("documents:document", ref=tub_cards_make(by=request.user, wanted=wanted).ref)
