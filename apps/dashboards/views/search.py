"""Search over the house."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.dashboards.pages.animal import address
from apps.dashboards.selectors.search import search as find


@requires(Permission.READ)
def search(request: PersonRequest) -> HttpResponse:
    """Anything a person types or a label reader sends; one sure answer opens at once."""
    found = find(request.user, request.GET.get("q", ""))
    if found.exact is not None and "list" not in request.GET:
        return redirect(found.exact.get_absolute_url())
    rows = {
        "tubs": [(tub, f"/p/{tub.ref}/") for tub in found.tubs],
        "broods": [(brood, address("incubation:brood", brood.ref)) for brood in found.broods],
        "buyers": [(buyer, address("inventory:buyer", buyer.ref)) for buyer in found.buyers],
        "orders": [(order, address("inventory:order", order.ref)) for order in found.orders],
        "parcels": [(parcel, address("shipping:parcel", parcel.ref)) for parcel in found.parcels],
    }
    return render(request, "dashboards/search.html", {"found": found, **rows})
