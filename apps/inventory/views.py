"""Pages of selling: stock, buyers, orders."""

from __future__ import annotations

from typing import Any

from django import forms as django_forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.selectors import animal_by_code
from apps.core.errors import DomainError
from apps.inventory import services
from apps.inventory.choices import EntryKind, Fulfilment, OfferState, OrderState, PayMethod, ReservationState
from apps.inventory.forms import (
    BuyerForm,
    CancelForm,
    OfferForm,
    OrderForm,
    PaymentForm,
    PriceForm,
    RefundForm,
    ReserveForm,
)
from apps.inventory.models import Buyer, Offer, Order, Reservation
from apps.inventory.policies import can_order
from apps.inventory.selectors import (
    balance,
    balances,
    buyers,
    offers_all,
    offers_found,
    offers_live,
    ready_not_offered,
)

ROWS = 60
SHOW_OFFERS = (("", "All"), ("listed", "Listed"), ("draft", "Drafts"), ("held", "Held for a buyer"))


def refuse(form: django_forms.Form | django_forms.ModelForm[Any], error: DomainError, **names: str) -> None:
    """Put a service's refusal beside its field."""
    field = names.get(error.field or "", error.field or "")
    form.add_error(field if field in form.fields else None, error.message)


@requires(Permission.MONEY_READ, write=Permission.SALES_EDIT)
def stock(request: PersonRequest) -> HttpResponse:
    """What is on offer, for whom it is held, and what is ready and not yet offered."""
    form = OfferForm(request.POST or None, initial={"animal": request.GET.get("animal", "")})
    if request.method == "POST" and form.is_valid():
        animal = animal_by_code(form.cleaned_data["animal"])
        if animal is None:
            form.add_error("animal", f"There is no animal “{form.cleaned_data['animal']}”. Check the code.")
        else:
            try:
                offer = services.offer_make(
                    by=request.user,
                    animal=animal,
                    price_minor=form.cleaned_data["price"],
                    wording=form.cleaned_data["wording"],
                    request_key=request.POST.get("request_key"),
                )
            except DomainError as error:
                refuse(form, error, price_minor="price")
            else:
                messages.success(request, f"{animal.code} is drafted. List it when it is ready.")
                return redirect("inventory:offer", ref=offer.ref)
    find, show = _found(request), request.GET.get("show", "")
    rows = offers_found(offers_live(), find)
    if show in {OfferState.LISTED, OfferState.DRAFT}:
        rows = rows.filter(state=show)
    elif show == "held":
        rows = rows.filter(reservations__state=ReservationState.OPEN)
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    ready = ready_not_offered()
    context = {
        "page": page,
        "form": form,
        "find": find,
        "show": show,
        "shows": SHOW_OFFERS,
        "query": f"{urlencode({'find': find, 'show': show})}&",
        "listed": Offer.objects.filter(state=OfferState.LISTED).count(),
        "ready": list(ready[:20]),
        "ready_count": ready.count(),
        "may_edit": may(request.user, Permission.SALES_EDIT),
    }
    return render(request, "inventory/stock.html", context, status=400 if form.errors else 200)


@requires(Permission.MONEY_READ)
def offer(request: PersonRequest, ref: str) -> HttpResponse:
    """One offer with its reservations."""
    return _offer_page(request, _offer(ref))


@require_POST
@requires(Permission.SALES_EDIT)
def offer_act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    """List, withdraw, price or reserve."""
    row = _offer(ref)
    key = request.POST.get("request_key")
    price_form = PriceForm(request.POST) if act == "price" else None
    reserve_form = ReserveForm(request.POST) if act == "reserve" else None
    form = price_form or reserve_form
    if form is not None and not form.is_valid():
        return _offer_page(request, row, price_form=price_form, reserve_form=reserve_form)
    try:
        if act == "list":
            services.offer_list(by=request.user, offer=row, request_key=key)
            messages.success(request, f"{row.animal.code} is listed.")
        elif act == "withdraw":
            services.offer_withdraw(by=request.user, offer=row, request_key=key)
            messages.success(request, f"The offer of {row.animal.code} is withdrawn.")
            return redirect("inventory:stock")
        elif price_form is not None:
            price = price_form.cleaned_data["price"]
            services.offer_price_set(by=request.user, offer=row, price_minor=price, request_key=key)
            messages.success(request, f"The price of {row.animal.code} is changed.")
        elif reserve_form is not None:
            found = services.offer_reserve(by=request.user, offer=row, **reserve_form.cleaned_data, request_key=key)
            words = "holds it" if found.state == ReservationState.OPEN else "waits behind the one that holds it"
            messages.success(request, f"{found.buyer.name} {words}.")
    except DomainError as error:
        if form is not None:
            refuse(form, error)
            return _offer_page(request, row, price_form=price_form, reserve_form=reserve_form)
        messages.error(request, error.message)
    return redirect("inventory:offer", ref=row.ref)


@require_POST
@requires(Permission.SALES_EDIT)
def reservation_release(request: PersonRequest, ref: str) -> HttpResponse:
    """Give a reservation up."""
    row = get_object_or_404(Reservation.objects.select_related("offer"), ref=ref)
    try:
        services.reservation_release(by=request.user, reservation=row, request_key=request.POST.get("request_key"))
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, "The reservation is released. Whoever waits longest holds the animal now.")
    return redirect("inventory:offer", ref=row.offer.ref)


@requires(Permission.MONEY_READ, write=Permission.SALES_EDIT)
def buyer_list(request: PersonRequest) -> HttpResponse:
    """Buyers, and the form for a new one."""
    form = BuyerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.buyer_add(by=request.user, **form.cleaned_data, request_key=request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{form.cleaned_data['name']} is added.")
            return redirect("inventory:buyers")
    find = _found(request)
    rows = buyers().filter(Q(name__icontains=find) | Q(city__icontains=find)) if find else buyers()
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "form": form,
        "find": find,
        "query": f"{urlencode({'find': find})}&",
        "may_edit": may(request.user, Permission.SALES_EDIT),
    }
    return render(request, "inventory/buyers.html", context, status=400 if form.errors else 200)


@requires(Permission.MONEY_READ, write=Permission.SALES_EDIT)
def buyer(request: PersonRequest, ref: str) -> HttpResponse:
    """One buyer: data, orders, erasing."""
    row = get_object_or_404(Buyer, ref=ref, erased_at__isnull=True)
    form = BuyerForm(request.POST or None, instance=Buyer.objects.get(pk=row.pk))
    key = request.POST.get("request_key")
    erasing = "erase" in request.POST
    if request.method == "POST":
        try:
            if erasing:
                services.buyer_erase(by=request.user, buyer=row, request_key=key)
                messages.success(request, "Erased. Orders and money stay, without a name.")
                return redirect("inventory:buyers")
            if form.is_valid():
                services.buyer_change(by=request.user, buyer=row, values=form.cleaned_data, request_key=key)
                messages.success(request, f"{form.cleaned_data['name']} saved.")
                return redirect("inventory:buyer", ref=row.ref)
        except DomainError as error:
            if erasing:
                messages.error(request, error.message)
                return redirect("inventory:buyer", ref=row.ref)
            refuse(form, error)
    orders = list(row.orders.order_by("-made_at"))
    money = balances(orders)
    context = {
        "buyer": row,
        "form": form,
        "orders": [(order, money[order.pk]) for order in orders],
        "may_erase": may(request.user, Permission.PEOPLE_EDIT),
        "may_edit": may(request.user, Permission.SALES_EDIT),
    }
    return render(request, "inventory/buyer.html", context, status=400 if form.errors else 200)


@requires(Permission.MONEY_READ)
def order_list(request: PersonRequest) -> HttpResponse:
    """Orders, open ones first."""
    show = request.GET.get("show", "open")
    rows = Order.objects.select_related("buyer").prefetch_related("lines__animal").order_by("-made_at")
    if show == "open":
        rows = rows.exclude(state__in=[OrderState.CLOSED, OrderState.CANCELLED])
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    money = balances(page.object_list)
    context = {
        "page": page,
        "rows": [(order, money[order.pk]) for order in page.object_list],
        "show": show,
        "query": f"show={'open' if show == 'open' else 'all'}&",
        "may_edit": may(request.user, Permission.SALES_EDIT),
    }
    return render(request, "inventory/orders.html", context)


@requires(Permission.SALES_EDIT)
def order_new(request: PersonRequest) -> HttpResponse:
    """Sell listed animals to a buyer."""
    find = _found(request)
    chosen = request.POST.getlist("offers") or request.GET.getlist("offer")
    listed = offers_live().filter(state=OfferState.LISTED)
    matching = offers_found(listed, find)
    shown = list(matching.values_list("pk", flat=True)[:ROWS])
    initial = {
        "buyer": request.GET.get("buyer", ""),
        "offers": chosen,
        "fulfilment": Fulfilment.SHIP,
    }
    # what was chosen stays on the form whatever is looked for; one sold meanwhile is refused by name, and a second tap
    # must still reach the service that knows its request key
    choosable = offers_all().filter(Q(pk__in=shown) | Q(ref__in=chosen))
    form = OrderForm(request.POST or None, offers=choosable, initial=initial)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            order = services.order_make(
                by=request.user,
                buyer=data["buyer"],
                offers=list(data["offers"]),
                fulfilment=Fulfilment(data["fulfilment"]),
                shipping_minor=data["shipping"] or 0,
                due_on=data["due_on"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"Order {order.number} is drafted; its animals are taken off the list.")
            return redirect("inventory:order", ref=order.ref)
    context = {
        "form": form,
        "find": find,
        "chosen": chosen,
        "buyer": request.GET.get("buyer", ""),
        "matching": matching.count(),
        "shown": len(shown),
    }
    return render(request, "inventory/order_new.html", context, status=400 if form.errors else 200)


@requires(Permission.MONEY_READ)
def order(request: PersonRequest, ref: str) -> HttpResponse:
    """One order: animals, money, what comes next."""
    return _order_page(request, get_object_or_404(Order.objects.select_related("buyer"), ref=ref))


@require_POST
@requires(Permission.MONEY_READ, write=Permission.SALES_EDIT)
def order_act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    """Agree, hand over, close, cancel or pay."""
    return _order_act(request, ref, act)


@require_POST
@requires(Permission.MONEY_READ, write=Permission.REFUND)
def order_refund(request: PersonRequest, ref: str) -> HttpResponse:
    """Give money back."""
    return _order_act(request, ref, "refund")


def _order_act(request: PersonRequest, ref: str, act: str) -> HttpResponse:
    row = get_object_or_404(Order.objects.select_related("buyer"), ref=ref)
    key = request.POST.get("request_key")
    form: Any = None
    try:
        if act in {"pay", "refund"}:
            form = PaymentForm(request.POST) if act == "pay" else RefundForm(request.POST)
            if not form.is_valid():
                return _order_page(request, row, **{f"{act}_form": form})
            service = services.payment_record if act == "pay" else services.refund_record
            data = form.cleaned_data
            service(
                by=request.user,
                order=row,
                amount_minor=data["amount"],
                kind=EntryKind(data["kind"]),
                method=PayMethod(data["method"]),
                request_key=key,
            )
            messages.success(request, "Written into the ledger.")
        elif act == "cancel":
            form = CancelForm(request.POST)
            if not form.is_valid():
                return _order_page(request, row, cancel_form=form)
            services.order_cancel(by=request.user, order=row, reason=form.cleaned_data["reason"], request_key=key)
            messages.success(request, f"Order {row.number} is cancelled; its animals are listed again.")
        else:
            service_of = {
                "agree": services.order_agree,
                "hand-over": services.order_hand_over,
                "close": services.order_close,
            }
            moved = service_of[act](by=request.user, order=row, request_key=key)
            messages.success(request, f"Order {moved.number} is {moved.state}.")
    except DomainError as error:
        if form is not None:
            refuse(form, error)
            return _order_page(request, row, **{f"{act}_form": form})
        messages.error(request, error.message)
    return redirect("inventory:order", ref=row.ref)


def _found(request: PersonRequest) -> str:
    return request.GET.get("find", "").replace("\x00", "").strip()[:60]


def _offer(ref: str) -> Offer:
    return get_object_or_404(Offer.objects.select_related("animal__species", "animal__tub"), ref=ref)


def _offer_page(
    request: PersonRequest,
    row: Offer,
    *,
    price_form: django_forms.Form | None = None,
    reserve_form: django_forms.Form | None = None,
) -> HttpResponse:
    refused = any(form is not None for form in (price_form, reserve_form))
    context = {
        "offer": row,
        "reservations": row.reservations.select_related("buyer", "by").order_by("-made_at"),
        "price_form": price_form or PriceForm(initial={"price": row.price_minor}),
        "reserve_form": reserve_form or ReserveForm(),
        "live": row.state in {OfferState.DRAFT, OfferState.LISTED},
        "may_edit": may(request.user, Permission.SALES_EDIT),
    }
    return render(request, "inventory/offer.html", context, status=400 if refused else 200)


def _order_page(
    request: PersonRequest,
    row: Order,
    *,
    pay_form: PaymentForm | None = None,
    refund_form: RefundForm | None = None,
    cancel_form: CancelForm | None = None,
) -> HttpResponse:
    row = Order.objects.select_related("buyer").get(pk=row.pk)
    money = balance(row)
    refused = any(form is not None for form in (pay_form, refund_form, cancel_form))
    travels = row.fulfilment == Fulfilment.SHIP
    context = {
        "order": row,
        "money": money,
        "lines": row.lines.select_related("animal__species", "animal__tub").order_by("pk"),
        "ledger": row.ledger.select_related("by").order_by("at", "pk"),
        "pay_form": pay_form or PaymentForm(initial={"amount": max(money.due_minor, 0)}),
        "refund_form": refund_form or RefundForm(),
        "cancel_form": cancel_form or CancelForm(),
        "acts": [
            (act, words)
            for act, to, words in (
                ("agree", OrderState.AGREED, "Agreed"),
                # its last parcel hands over an order that travels; at the door somebody says so
                ("hand-over", OrderState.HANDED_OVER, "Handed over at the door" if travels else "Handed over"),
                ("close", OrderState.CLOSED, "Close"),
            )
            if can_order(row, to)
        ],
        "may_cancel": can_order(row, OrderState.CANCELLED),
        "may_edit": may(request.user, Permission.SALES_EDIT),
        "may_refund": may(request.user, Permission.REFUND),
        "may_plan": may(request.user, Permission.PARCELS_EDIT) and row.state == OrderState.AGREED and travels,
        "travels": travels,
        "takes_money": pay_form is not None or money.due_minor > 0,
    }
    return render(request, "inventory/order.html", context, status=400 if refused else 200)
