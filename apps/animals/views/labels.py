"""Ordering labels: of what, on which labels, and where on a part-used sheet the first one goes."""

from __future__ import annotations

from collections.abc import Mapping

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.papers import wanted_labels_make
from apps.animals.selectors.labels import PLACES, LabelKind, Wanted, labels_wanted
from apps.animals.views.acts import refuse
from apps.core.errors import DomainError
from apps.documents.forms import LabelOrderForm, is_roll
from apps.places.selectors import rooms_in_walking_order, sites

LAST_USED = "labels-print-on"
SHOWN = 12


@requires(Permission.READ)
def labels(request: PersonRequest) -> HttpResponse:
    """Without a choice: the places to choose from. With one: how many labels, on what; then the PDF.

    A choice may come by POST too (a list of ticked animals is too long for an address); only the order itself,
    which names what is printed on, makes a paper. What was printed on last is proposed next time.
    """
    asked = request.POST if request.method == "POST" else request.GET
    if not asked.keys() & {"what", "animals", *PLACES}:
        return render(request, "animals/labels.html", {"sites": sites(), "rooms": rooms_in_walking_order()})
    wanted = _wanted(asked)
    order = _order(request)
    form = LabelOrderForm(order, initial=_last(request))
    if order is not None and form.is_valid():
        try:
            document = wanted_labels_make(by=request.user, wanted=wanted, order=form.order())
        except DomainError as error:
            refuse(form, error)
        else:
            request.session[LAST_USED] = form.cleaned_data["print_on"]
            return redirect("documents:document", ref=document.ref)
    context = {
        "wanted": wanted,
        "form": form,
        "hidden": [(name, value) for name, values in wanted.asked.items() for value in values],
        "shown": [tub.label for tub in wanted.tubs[:SHOWN]] + [animal.code for animal in wanted.animals[:SHOWN]],
        "more": max(0, wanted.count - SHOWN),
        "is_tubs": wanted.kind == LabelKind.TUBS,
    }
    return render(request, "animals/labels_order.html", context, status=400 if form.errors else 200)


def _wanted(asked: QueryDict) -> Wanted:
    place = next((name for name in PLACES if asked.get(name)), "")
    kind = asked.get("what", LabelKind.ANIMALS)
    return labels_wanted(kind=kind, place=place, ref=asked.get(place, ""), refs=asked.getlist("animals"))


def _order(request: HttpRequest) -> Mapping[str, str] | None:
    """What was sent as an order. At the hatch table (``quick``) a roll used before is used again, without asking."""
    if request.method != "POST":
        return None
    last = request.session.get(LAST_USED, "")
    if "quick" in request.POST and "print_on" not in request.POST and is_roll(last):
        return {"print_on": last, "start": "1"}
    return request.POST if "print_on" in request.POST else None


def _last(request: HttpRequest) -> dict[str, str]:
    """What this person printed on last; a printer that is gone is simply not found among the choices."""
    last = request.session.get(LAST_USED)
    return {"print_on": last} if last else {}
