"""Label printers: which there are, their labels and offset, and the test page that measures it."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.core.errors import DomainError
from apps.documents.forms import LabelPrinterChangeForm, LabelPrinterForm
from apps.documents.models import LabelPrinter
from apps.documents.papers.calibration import STEPS, calibration_make, now_words
from apps.documents.selectors.labels import label_stocks, order_of
from apps.documents.services import label_printer_add, label_printer_change


@requires(Permission.READ, write=Permission.CARE_RECORD)
def printer_list(request: PersonRequest) -> HttpResponse:
    """The printers, the sizes, and a new printer."""
    form = LabelPrinterForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            printer = label_printer_add(
                by=request.user, **form.cleaned_data, request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, f"{printer.name} is set up. Print its test page and read the scales.")
            return redirect("documents:printer", ref=printer.ref)
    stocks = label_stocks()
    rows = [
        (printer, stocks.get(printer.stock), now_words(printer.right_mm, printer.down_mm))
        for printer in LabelPrinter.objects.order_by("-is_active", "name")
    ]
    context = {
        "rows": rows,
        "stocks": list(stocks.values()),
        "form": form,
        "may_set_up": may(request.user, Permission.CARE_RECORD),
    }
    return render(request, "documents/printers.html", context, status=400 if form.errors else 200)


@requires(Permission.READ, write=Permission.CARE_RECORD)
def printer_one(request: PersonRequest, ref: str) -> HttpResponse:
    """One printer: its labels, its offset, its test page, how to read it."""
    printer = get_object_or_404(LabelPrinter, ref=ref)
    given = {name: getattr(printer, name) for name in ("name", "stock", "right_mm", "down_mm", "is_active")}
    form = LabelPrinterChangeForm(request.POST if request.method == "POST" else None, initial=given)
    if request.method == "POST" and form.is_valid():
        try:
            label_printer_change(
                by=request.user, printer=printer, **form.cleaned_data, request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            _refuse(form, error)
        else:
            messages.success(request, "Saved. Print the test page again to see that it sits right.")
            return redirect("documents:printer", ref=printer.ref)
    context = {
        "printer": printer,
        "stock": label_stocks().get(printer.stock),
        "now": now_words(printer.right_mm, printer.down_mm),
        "steps": STEPS,
        "form": form,
        "may_set_up": may(request.user, Permission.CARE_RECORD),
    }
    return render(request, "documents/printer.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.READ)
def printer_test(request: PersonRequest, ref: str) -> HttpResponse:
    """The test page of a printer as it stands."""
    printer = get_object_or_404(LabelPrinter, ref=ref)
    return redirect(
        "documents:document", ref=calibration_make(by=request.user, order=order_of(printer=printer.ref)).ref
    )


@require_POST
@requires(Permission.READ)
def stock_test(request: PersonRequest) -> HttpResponse:
    """The test page of a bare size, nothing moved."""
    order = order_of(stock=request.POST.get("stock", "")[:40])
    return redirect("documents:document", ref=calibration_make(by=request.user, order=order).ref)


def _refuse(form: forms.Form, error: DomainError) -> None:
    form.add_error(error.field if error.field in form.fields else None, error.message)
