"""The window board, the parcels that ended, and planning a new one."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, may, requires
from apps.core import clock
from apps.core.errors import DomainError
from apps.inventory.models import Buyer, Order
from apps.shipping import services
from apps.shipping.choices import ParcelState
from apps.shipping.forms import PlanForm
from apps.shipping.pages.board import pull_rows, what_words, window_board
from apps.shipping.policies import LIVE
from apps.shipping.selectors.knowledge import shipped_policy
from apps.shipping.selectors.parcels import lines_without_parcel, parcels, parcels_ahead, windows_of
from apps.shipping.services import CounterAddress

ROWS = 40


def sees_buyer(person: Person) -> bool:
    """Whether names and telephone numbers of buyers are for this person."""
    return may(person, Permission.MONEY_READ) or may(person, Permission.PARCELS_EDIT)


@requires(Permission.READ)
def board(request: PersonRequest) -> HttpResponse:
    """Parcels down, seven days across; sold animals without a parcel; what is with the carrier."""
    page = Paginator(parcels_ahead(), ROWS).get_page(request.GET.get("page"))
    rows = list(page.object_list)
    limits = shipped_policy().limits
    context = {
        "board": window_board(rows, windows_of(rows, clock.today())),
        "page": page,
        "go_share": limits.go_p,
        "marginal_share": limits.marginal_p,
        "pull": pull_rows(list(lines_without_parcel())),
        "travelling": [
            (parcel, what_words(parcel)) for parcel in parcels().filter(state=ParcelState.HANDED).order_by("handed_at")
        ],
        "may_edit": may(request.user, Permission.PARCELS_EDIT),
        "sees_buyer": sees_buyer(request.user),
    }
    return render(request, "shipping/board.html", context)


@requires(Permission.READ)
def past(request: PersonRequest) -> HttpResponse:
    """Parcels that arrived, came back, were lost or called off, newest first; with an order, all of that order's."""
    found = parcels().select_related("arrival")
    order = Order.objects.filter(ref=request.GET.get("order", "").replace("\x00", "")).first()
    if order is not None:
        found = found.filter(order=order).order_by("-number")
    else:
        found = found.exclude(state__in=LIVE).order_by("-ended_at", "-number")
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    context = {"page": page, "order": order, "query": f"order={order.ref}&" if order is not None else ""}
    return render(request, "shipping/past.html", context)


@requires(Permission.PARCELS_EDIT)
def plan(request: PersonRequest) -> HttpResponse:
    """Put sold animals of one order into a parcel."""
    ref = request.GET.get("order", "")
    if not ref:
        return render(request, "shipping/plan.html", {"pull": pull_rows(list(lines_without_parcel()))})
    order = get_object_or_404(Order.objects.select_related("buyer"), ref=ref)
    lines = order.lines.filter(cancelled_at__isnull=True).select_related("animal")
    free = list(lines_without_parcel().filter(order=order))
    # a second tap finds its animals inside already: it must still reach the service that knows its request key
    offered = list(lines) if request.method == "POST" else free
    form = PlanForm(
        request.POST or None, lines=offered, initial=_initial(order.buyer, [line.animal.ref for line in free])
    )
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            parcel = services.parcel_plan(
                by=request.user,
                order=order,
                animals=[line.animal for line in offered if line.animal.ref in data["animals"]],
                counter=_counter(data),
                hub=data["hub"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, f"Parcel {parcel.number} is planned. Its windows are computed now.")
            return redirect("shipping:parcel", ref=parcel.ref)
    context = {"order": order, "form": form, "free": free}
    return render(request, "shipping/plan.html", context, status=400 if form.errors else 200)


def _initial(buyer: Buyer, animals: list[str]) -> dict[str, Any]:
    """The counter is looked for where the buyer lives."""
    return {
        "animals": animals,
        "city": buyer.city,
        "county": buyer.county,
        "state": buyer.state,
        "postcode": buyer.postcode,
        "country": buyer.country or "US",
    }


def _counter(data: dict[str, Any]) -> CounterAddress:
    names = ("city", "state", "postcode", "name", "street", "county", "country", "zone")
    return CounterAddress(**{name: data[name] for name in names})
