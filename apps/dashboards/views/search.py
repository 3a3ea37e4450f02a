"""Search over the house."""

from __future__ import annotations

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import Resolver404, resolve
from django.utils.http import url_has_allowed_host_and_scheme

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.dashboards.pages.animal import address
from apps.dashboards.selectors.search import search as find


@requires(Permission.READ)
def search(request: PersonRequest) -> HttpResponse:
    """Anything a person types or a label reader sends; one sure answer opens at once."""
    typed = request.GET.get("q", "")
    if label := own_address(typed):
        return redirect(label)
    found = find(request.user, typed)
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


def own_address(typed: str) -> str:
    """The path of one of the house's own pages when a whole address was read, as the QR codes of labels carry it; or
    nothing: other hosts' addresses are words like any others.
    """
    house = f"{settings.SITE_URL.rstrip('/')}/"
    if not typed.strip().startswith(house):
        return ""
    path = f"/{typed.strip().removeprefix(house)}"
    if not url_has_allowed_host_and_scheme(path, allowed_hosts=None):
        return ""
    try:
        resolve(path)
    except Resolver404:
        return ""
    return path
