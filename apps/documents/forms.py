"""Forms of label printers, and what every order of labels asks. Services check everything again."""

from __future__ import annotations

from typing import Any

from django import forms

from apps.core.errors import Invalid
from apps.documents.selectors.labels import LabelOrder, label_printers, label_stocks, order_of

NUMBER = {"inputmode": "decimal", "autocomplete": "off"}


class OffsetField(forms.FloatField):
    """Millimetres with a sign; a comma is a decimal sign."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs=NUMBER), **kwargs)
        self.unit = "mm"

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        """``1.5``, ``-0,5``, ``+2 mm``; a typographic minus too."""
        typed = str(value or "").strip().removesuffix("mm").strip().replace(",", ".").replace("−", "-")
        return super().to_python(typed)


def _stock_choices() -> list[tuple[str, str]]:
    return [(stock.key, stock.name) for stock in label_stocks().values()]


class LabelPrinterForm(forms.Form):
    """A printer, its labels and its offset."""

    name = forms.CharField(label="Name", max_length=40, help_text="such as Hatch room roll")
    stock = forms.ChoiceField(label="Labels in it", choices=_stock_choices)
    right_mm = OffsetField(label="Print moved to the right", help_text="a minus moves it to the left", initial=0)
    down_mm = OffsetField(label="Print moved down", help_text="a minus moves it up", initial=0)


class LabelPrinterChangeForm(LabelPrinterForm):
    """The same, and out of use."""

    is_active = forms.BooleanField(label="In use", required=False)


PRINTER, STOCK = "printer:", "stock:"


def _print_on_choices() -> list[tuple[str, Any]]:
    stocks = [(f"{STOCK}{stock.key}", stock.name) for stock in label_stocks().values()]
    printers = [
        (f"{PRINTER}{one.ref}", f"{one.name}: {label_stocks()[one.stock].name}")
        for one in label_printers()
        if one.stock in label_stocks()
    ]
    return [("Printers of this house", printers), ("A size alone, print not moved", stocks)] if printers else stocks


def is_roll(print_on: str) -> bool:
    """Whether a choice of ``print_on`` is a roll, where no label can be free before another; False for what is gone."""
    if print_on.startswith(PRINTER):
        keys = label_printers().filter(ref=print_on.removeprefix(PRINTER)).values_list("stock", flat=True)
        key = next(iter(keys), "")
    else:
        key = print_on.removeprefix(STOCK)
    stock = label_stocks().get(key)
    return stock is not None and stock.kind == "roll"


class LabelOrderForm(forms.Form):
    """On what, and where the first label goes."""

    print_on = forms.ChoiceField(label="Print on", choices=_print_on_choices)
    start = forms.IntegerField(
        label="First free label",
        min_value=1,
        initial=1,
        help_text="on a part-used sheet: count from the top left, row by row",
    )

    def order(self) -> LabelOrder:
        """What was asked. Raises Invalid naming ``start``, or ``print_on`` for what is wrong with the printer."""
        asked, start = self.cleaned_data["print_on"], self.cleaned_data["start"]
        try:
            if asked.startswith(PRINTER):
                return order_of(printer=asked.removeprefix(PRINTER), start=start)
            return order_of(stock=asked.removeprefix(STOCK), start=start)
        except Invalid as error:
            raise Invalid(error.message, field="start" if error.field == "start" else "print_on") from None
