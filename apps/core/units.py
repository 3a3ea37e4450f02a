"""Units at the edge: stored as g, mm, °C, UTC and integer minor units; typed and shown as people do."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation

from apps.core.errors import Invalid

_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)$")
# ISO 4217 minor units that differ from 2, for the currencies a facility may choose (public list, from memory).
_MINOR_UNITS = {"JPY": 0, "KRW": 0, "CLP": 0, "ISK": 0, "KWD": 3, "BHD": 3, "OMR": 3, "TND": 3, "JOD": 3}


def read_decimal(text: str, *, field: str, unit: str = "") -> Decimal:
    """A number as typed: comma or dot as the decimal sign, no unit, no thousands sign. Raises Invalid."""
    cleaned = text.strip().replace("\u00a0", "").replace(" ", "")
    if not _NUMBER.match(cleaned):
        example = f"12.5 ({unit} is understood)" if unit else "12.5"
        raise Invalid(f"“{text.strip()}” is not a number. Write only the number, such as {example}.", field=field)
    try:
        return Decimal(cleaned.replace(",", "."))
    except InvalidOperation:
        raise Invalid(f"“{text.strip()}” is not a number.", field=field) from None


def minor_digits(currency: str) -> int:
    """Digits after the decimal sign of a currency."""
    return _MINOR_UNITS.get(currency, 2)


def to_minor(amount: Decimal, currency: str, *, field: str = "amount") -> int:
    """An amount of money as integer minor units. Raises Invalid when it has more digits than the currency."""
    scaled = amount.scaleb(minor_digits(currency))
    if scaled != scaled.to_integral_value():
        raise Invalid(f"{amount} has more decimals than {currency} has. Round it.", field=field)
    return int(scaled)


def from_minor(minor: int, currency: str) -> Decimal:
    """Integer minor units as an amount."""
    return Decimal(minor).scaleb(-minor_digits(currency))


def money_text(minor: int, currency: str) -> str:
    """``1,250.00 USD``."""
    return f"{from_minor(minor, currency):,.{minor_digits(currency)}f} {currency}"


def c_to_f(temp_c: float) -> float:
    """Degrees Celsius as degrees Fahrenheit."""
    return temp_c * 9 / 5 + 32


def f_to_c(temp_f: float) -> float:
    """Degrees Fahrenheit as degrees Celsius."""
    return (temp_f - 32) * 5 / 9


def temperature_text(temp_c: float, *, fahrenheit_first: bool = False, digits: int = 1) -> str:
    """Both scales, the facility's own first: ``31.5 °C (88.7 °F)``."""
    celsius, fahrenheit = f"{temp_c:.{digits}f} °C", f"{c_to_f(temp_c):.{digits}f} °F"
    return f"{fahrenheit} ({celsius})" if fahrenheit_first else f"{celsius} ({fahrenheit})"
