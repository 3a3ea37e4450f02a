"""Whom an animal may be bred to, and the genetics of the collection."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.errors import LineageFaulty
from apps.animals.pages.kinship import collection_page, has_breeders, mates_page
from apps.animals.selectors import all_species
from apps.animals.selectors.mates import ORDERS, mates_of
from apps.animals.views.acts import animal_of


@requires(Permission.READ)
def mates(request: PersonRequest, ref: str) -> HttpResponse:
    """Breeders of the other sex with kinship, welfare, doubt and value; ``order`` is kinship, spread or value."""
    animal = animal_of(ref)
    money = may(request.user, Permission.MONEY_READ)
    asked = request.GET.get("order", "")
    orders = ORDERS if money else ORDERS[:2]
    order = asked if asked in orders else orders[0]
    context: dict[str, object] = {"animal": animal, "order": order}
    try:
        page = mates_page(mates_of(animal, order=order, with_values=money), show_money=money)
    except LineageFaulty as error:
        context["fault"] = error.message
    else:
        context |= {"page": page, "orders": orders if page.has_values else ORDERS[:2]}
    return render(request, "animals/mates.html", context)


@requires(Permission.READ)
def collection(request: PersonRequest) -> HttpResponse:
    """Inbreeding, mean kinship, founders, parents not recorded: of the breeders here, or with ``who=all`` everybody."""
    kinds = has_breeders(list(all_species()))
    species = next((one for one in kinds if one.slug == request.GET.get("species")), kinds[0] if kinds else None)
    page = None if species is None else collection_page(species, everybody=request.GET.get("who") == "all")
    return render(request, "animals/collection.html", {"page": page, "kinds": kinds})
