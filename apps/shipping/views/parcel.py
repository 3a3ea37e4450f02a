"""The parcel page and what may be done with a parcel."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, may, requires
from apps.core import clock
from apps.core.errors import DomainError
from apps.documents.selectors import documents_of
from apps.documents.services import document_store
from apps.inventory.selectors import order_paid
from apps.shipping import services
from apps.shipping.choices import ParcelState
from apps.shipping.forms import (
    ArriveForm,
    DayForm,
    HandOverForm,
    ReasonForm,
    ReleaseForm,
    arrive_initial,
    permit_type,
)
from apps.shipping.models import Parcel
from apps.shipping.pages.parcel import ParcelPage, parcel_page
from apps.shipping.pages.verdicts import weekday_words
from apps.shipping.papers import PRINTABLE, papers_make
from apps.shipping.policies import BEFORE_HAND_OVER, PERMIT_KIND, RELEASE_RIGHT, can_parcel
from apps.shipping.selectors.parcels import parcels
from apps.shipping.selectors.windows import days_ahead
from apps.shipping.views.board import sees_buyer

_S = ParcelState
Forms = dict[str, django_forms.Form]


@requires(Permission.READ)
def parcel(request: PersonRequest, ref: str) -> HttpResponse:
    """One parcel: contents, windows with every reason, predicted course, papers, acts."""
    return _page(request, _parcel(ref), {})


@require_POST
@requires(Permission.PARCELS_EDIT)
def act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    """Book, hold, give the day back, pack, hand over, arrive, cancel; the rules are the services'."""
    row = _parcel(ref)
    form = _bound(act, row, request)
    if form is not None and not form.is_valid():
        return _page(request, row, {act.replace("-", "_"): form})
    try:
        said = _do(act, row, request.user, form.cleaned_data if form else {}, request.POST.get("request_key"))
    except DomainError as error:
        if form is not None:
            form.add_error(error.field if error.field in form.fields else None, error.message)
            return _page(request, row, {act.replace("-", "_"): form})
        messages.error(request, error.message)
    else:
        messages.success(request, said)
    return redirect("shipping:parcel", ref=row.ref)


@require_POST
@requires(Permission.PARCEL_RELEASE_MARGINAL)
def release(request: PersonRequest, ref: str) -> HttpResponse:
    """A named person lets the parcel go on a day that is not go."""
    row = _parcel(ref)
    days = [(day, weekday_words(day)) for day in days_ahead()]
    form = ReleaseForm(request.POST, request.FILES, days=days, auto_id="release_%s")
    if form.is_valid():
        data = form.cleaned_data
        try:
            # one transaction: a permit is not kept for a release that was refused
            with transaction.atomic():
                upload = data["permit"]
                permit = None
                if upload is not None:
                    permit = document_store(
                        by=request.user,
                        kind=PERMIT_KIND,
                        subject_kind="parcel",
                        subject_ref=row.ref,
                        label=f"permit for parcel {row.number}",
                        content=upload.read(),
                        mime=permit_type(upload) or "application/octet-stream",
                        filename=f"permit-{row.number}",
                    )
                services.parcel_release(
                    by=request.user,
                    parcel=row,
                    day=data["day"],
                    reason=data["reason"],
                    permit=permit,
                    request_key=request.POST.get("request_key"),
                )
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, f"Released for {weekday_words(data['day'])}, by {request.user.name}.")
            return redirect("shipping:parcel", ref=row.ref)
    return _page(request, row, {"release": form})


def _parcel(ref: str) -> Parcel:
    return get_object_or_404(parcels(), ref=ref)


def _bound(act: str, row: Parcel, request: PersonRequest) -> django_forms.Form | None:
    if act == "book":
        return DayForm(request.POST, days=days_ahead())
    if act in {"hold", "cancel"}:
        return ReasonForm(request.POST, auto_id=f"{act}_%s")
    kinds: dict[str, type[django_forms.Form]] = {"hand-over": HandOverForm, "arrive": ArriveForm}
    return kinds[act](request.POST) if act in kinds else None


def _do(act: str, row: Parcel, by: Person, data: dict[str, Any], key: str | None) -> str:
    """Call the act's service; returns what the page says."""
    if act == "book":
        moved = services.parcel_book(by=by, parcel=row, day=data["day"], request_key=key)
        return f"Booked for {weekday_words(moved.ship_on or data['day'])}. Its papers are being printed."
    if act == "hold":
        services.parcel_hold(by=by, parcel=row, reason=data["reason"], request_key=key)
        return "Held. Papers printed before are void."
    if act == "unbook":
        services.parcel_unbook(by=by, parcel=row, request_key=key)
        return "The day is given back. Papers printed before are void."
    if act == "pack":
        services.parcel_pack(by=by, parcel=row, request_key=key)
        return "Packed. The day was judged once more."
    if act == "hand-over":
        services.parcel_hand_over(by=by, parcel=row, tracking=data["tracking"], request_key=key)
        return "The carrier has it."
    if act == "arrive":
        services.parcel_arrive(by=by, parcel=row, **data, request_key=key)
        return "The arrival is on record."
    if act == "cancel":
        services.parcel_cancel(by=by, parcel=row, reason=data["reason"], request_key=key)
        return "Called off. Its animals may go into another parcel."
    if act == "print":
        made = papers_make(by=by, parcel=row)
        return f"{len(made)} papers are ready below."
    services.parcel_windows_refresh(by=by, parcel=row, request_key=key)
    return "Judged anew with the newest weather and facts."


def _page(request: PersonRequest, row: Parcel, bound: Forms) -> HttpResponse:
    row = _parcel(row.ref)
    page = parcel_page(row, _asked(request))
    buyer, person = sees_buyer(request.user), request.user
    papers = documents_of("parcel", row.ref).select_related("by") if buyer else []
    context = {
        "parcel": row,
        "page": page,
        "forms": {**_forms(row, page, person), **bound},
        "may_edit": may(person, Permission.PARCELS_EDIT),
        "sees_buyer": buyer,
        "sees_money": may(person, Permission.MONEY_READ),
        "paid": order_paid(row.order),
        "papers": papers,
        "printable": row.state in PRINTABLE,
        "can_judge": row.state in BEFORE_HAND_OVER,
        "can_unbook": row.state != _S.PLANNED and can_parcel(row, _S.PLANNED),
        "can_pack": can_parcel(row, _S.PACKED),
        "is_today": row.ship_on == clock.today(),
        "releases": row.releases.select_related("by", "permit").order_by("at"),
        "arrival": getattr(row, "arrival", None),
    }
    return render(request, "shipping/parcel.html", context, status=400 if bound else 200)


def _forms(row: Parcel, page: ParcelPage, person: Person) -> Forms:
    """The forms of what the parcel's state, its windows and the person's rights allow now."""
    found: Forms = {}
    if may(person, Permission.PARCELS_EDIT):
        if can_parcel(row, _S.BOOKED) and page.go_days:
            found["book"] = DayForm(days=page.go_days)
        if can_parcel(row, _S.HELD):
            found["hold"] = ReasonForm(auto_id="hold_%s")
        if can_parcel(row, _S.HANDED):
            found["hand_over"] = HandOverForm()
        if can_parcel(row, _S.ARRIVED):
            found["arrive"] = ArriveForm(initial=arrive_initial(row, len(page.cups)))
        if can_parcel(row, _S.CANCELLED):
            found["cancel"] = ReasonForm(auto_id="cancel_%s")
    days = [(day, words) for day, words, verdict in page.release_days if may(person, RELEASE_RIGHT[verdict])]
    if can_parcel(row, _S.RELEASED) and days:
        found["release"] = ReleaseForm(days=days, auto_id="release_%s")
    return found


def _asked(request: PersonRequest) -> date | None:
    try:
        return date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None
