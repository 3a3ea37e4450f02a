"""Tags and filters of every page (a builtin library: no load needed)."""

from __future__ import annotations

import uuid
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from apps.core import clock, formats
from apps.core.cautions import cautions
from apps.core.marks import mark_svg
from apps.core.units import c_to_f, money_text

register = template.Library()
Number = int | float | Decimal


@register.simple_tag
def mark(state: object, size: int = 13, kind: str = "") -> SafeString:
    """The shape of a state word; the word itself stands beside it."""
    return mark_safe(mark_svg(str(state or ""), kind=kind, size_px=size))


@register.simple_tag
def fresh_key() -> str:
    """A request key for one form: a double tap or a retry writes once."""
    return uuid.uuid4().hex


@register.inclusion_tag("core/ui/caution.html")
def caution(key: str) -> dict[str, str]:
    """A caution of the register, boxed; its templates are listed there."""
    found = cautions()[key]
    return {"title": found.title, "words": found.words, "source": found.source}


@register.simple_tag
def caution_line(key: str) -> SafeString:
    """The same as one quiet line, for a page worked with one hand."""
    found = cautions()[key]
    return format_html('<p class="small quiet">{}: {}</p>', found.title, found.words)


@register.filter
def moment(value: datetime | None) -> str:
    """``6 Apr 17:00`` in the facility's zone."""
    if value is None:
        return formats.DASH
    here = clock.local(value)
    return f"{formats.day_text(here)} {here:%H:%M}"


@register.filter(name="clock")
def clock_time(value: datetime | None) -> str:
    """``17:00`` in the facility's zone, on the day it is said."""
    return formats.DASH if value is None else f"{clock.local(value):%H:%M}"


@register.filter
def day(value: date | datetime | None, form: str = "") -> str:
    """``6 Apr``; with ``:"year"`` the year too."""
    return formats.day_text(clock.local(value) if isinstance(value, datetime) else value, year=form == "year")


@register.filter
def window(first: date | None, last: date | None) -> str:
    """``6 – 14 Apr``."""
    return formats.window_text(first, last)


@register.filter
def money(minor: int | None, currency: str) -> str:
    """Minor units as ``1,250.00 USD``."""
    return formats.DASH if minor is None else money_text(minor, currency)


@register.filter
def mm(value: Number | None) -> str:
    """``36.6 mm``."""
    return formats.mm_text(value)


@register.filter
def grams(value: Number | None) -> str:
    """``1,743 g``."""
    return formats.grams_text(value)


@register.filter
def celsius(value: Number | None) -> str:
    """``31.5 °C (88.7 °F)``."""
    return formats.DASH if value is None else f"{formats.celsius_text(value)} ({c_to_f(float(value)):.1f} °F)"


@register.filter
def percent(value: Number | None) -> str:
    """A share as ``91 %``."""
    return formats.percent_text(value)


@register.filter
def number(value: Number | None, digits: int = 0) -> str:
    """``1,743``."""
    return formats.number_text(value, digits)


@register.filter
def spaced(word: str) -> str:
    """A word of the data files as people write it: ``incomplete dominant``."""
    return word.replace("_", " ")


@register.filter
def widget_kind(field: Any) -> str:
    """check, choices, hidden or plain: how a form field is laid out."""
    widget = field.field.widget
    if widget.is_hidden:
        return "hidden"
    kind = type(widget).__name__
    return {"CheckboxInput": "check", "CheckboxSelectMultiple": "choices", "RadioSelect": "segments"}.get(kind, "plain")


@register.filter
def described(field: Any, hint: str = "") -> SafeString:
    """The field's widget, tied to its hint and errors for those who do not see them."""
    # auto_id, for a group of boxes has no id of its own to be labelled by
    ids = [f"{field.auto_id}_hint"] if hint else []
    ids += [f"{field.auto_id}_errors"] if field.errors else []
    attrs: dict[str, str] = {"aria-describedby": " ".join(ids)} if ids else {}
    if field.errors:
        attrs["aria-invalid"] = "true"
    html: SafeString = field.as_widget(attrs=attrs)
    return html
