"""Label printers: which labels are in them, and by how much their print is moved."""

from __future__ import annotations

import math

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.core.errors import Duplicate, Invalid
from apps.documents.models import LabelPrinter
from apps.documents.selectors.labels import offset_check, stock_of


@service("label-printer.add", may=Permission.CARE_RECORD)
def label_printer_add(
    *,
    by: Person,
    name: str,
    stock: str,
    right_mm: float = 0.0,
    down_mm: float = 0.0,
    request_key: str | None = None,
) -> LabelPrinter:
    """A printer with its labels. Raises Invalid naming the field, Duplicate for a name that is taken."""
    printer = LabelPrinter()
    _fill(printer, name, stock, right_mm, down_mm)
    printer.save()
    audit_write(by=by, act="label-printer.add", subject=printer, detail=_detail(printer))
    return printer


@service("label-printer.change", may=Permission.CARE_RECORD)
def label_printer_change(
    *,
    by: Person,
    printer: LabelPrinter,
    name: str,
    stock: str,
    right_mm: float,
    down_mm: float,
    is_active: bool = True,
    request_key: str | None = None,
) -> LabelPrinter:
    """Other labels, another offset, or out of use. The audit row keeps what it was."""
    found = LabelPrinter.objects.select_for_update().get(pk=printer.pk)
    before = _detail(found)
    _fill(found, name, stock, right_mm, down_mm)
    found.is_active = is_active
    found.save()
    audit_write(by=by, act="label-printer.change", subject=found, detail={**_detail(found), "before": before})
    return found


def _fill(printer: LabelPrinter, name: str, stock: str, right_mm: float, down_mm: float) -> None:
    name = " ".join(name.split())
    if not name:
        raise Invalid("A printer needs a name, such as “Hatch room”.", field="name")
    if len(name) > 40:
        raise Invalid("A printer's name has at most 40 characters.", field="name")
    if LabelPrinter.objects.filter(name__iexact=name).exclude(pk=printer.pk).exists():
        raise Duplicate(f"There is a label printer called {name} already, perhaps out of use.", field="name")
    for field, value in (("right_mm", right_mm), ("down_mm", down_mm)):
        if not math.isfinite(value):
            raise Invalid("The offset is a number of millimetres.", field=field)
    offset_check(stock_of(stock), right_mm, down_mm)
    printer.name, printer.stock = name, stock
    # the test page is read to a half millimetre; a tenth is more than enough
    printer.right_mm, printer.down_mm = round(right_mm, 2), round(down_mm, 2)


def _detail(printer: LabelPrinter) -> dict[str, object]:
    return {
        "name": printer.name,
        "stock": printer.stock,
        "right_mm": printer.right_mm,
        "down_mm": printer.down_mm,
        "is_active": printer.is_active,
    }
