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


# What a scale or a person puts before and after the number. Status words of scales that send a line a weighing.
_STEADY, _UNSTEADY = {"ST", "S", "SS", "GS", "NT", "N", "G", "W", "P"}, {"US", "SD", "D", "OL", "I", "UN"}
_GRAMS_OF = {"": 1.0, "g": 1.0, "gr": 1.0, "gm": 1.0, "gram": 1.0, "grams": 1.0, "kg": 1000.0, "kilo": 1000.0}
# exact by definition (international avoirdupois pound)
_GRAMS_OF |= {"oz": 28.349523125, "lb": 453.59237, "lbs": 453.59237}
_READING = re.compile(
    r"^(?P<status>(?:[A-Za-z]{1,2}[\s,:]+)*)(?P<sign>[+\-\u2212]?)\s*(?P<number>\d[\d.,'\u2019 ]*)"
    r"(?P<unit>[A-Za-z]*)\.?$",
    re.ASCII,
)


def read_grams(text: str, *, field: str) -> float:
    """Grams as typed by a person or sent by a scale: ``174.3``, ``174,3 g``, ``12,5 kg``, ``ST,GS,+  174.3g``.

    A comma or a point is the decimal sign; both together are thousands and decimals. Raises Invalid naming ``field``
    for what can be read two ways (``1,743``), an unsteady scale, an unknown unit, or no number; 0 is for the caller.
    """
    typed = text.replace("\u00a0", " ").replace("\u2009", " ").strip()
    found = _READING.match(typed)
    if found is None:
        raise Invalid(
            f"“{typed[:40]}” is not a number of grams. Write the weight as a number of grams, such as 1743.",
            field=field,
        )
    words = {word.upper() for word in re.split(r"[\s,:]+", found["status"]) if word}
    if words & _UNSTEADY:
        raise Invalid("The scale says that it is not steady. Wait until it is, and send it again.", field=field)
    if words - _STEADY:
        raise Invalid(f"“{typed[:40]}” is not a number of grams, such as 1743.", field=field)
    if found["sign"] in {"-", "\u2212"}:
        raise Invalid("A weight is above 0 g: write it as a number of grams, such as 1743.", field=field)
    unit = found["unit"].lower()
    if unit not in _GRAMS_OF:
        raise Invalid(f"“{found['unit']}” is not a unit of weight known here. Write g, kg, oz or lb.", field=field)
    return _plain_number(found["number"].strip(), unit, field) * _GRAMS_OF[unit]


def _plain_number(typed: str, unit: str, field: str) -> float:
    """The digits of a reading as a number. Raises Invalid for what can be read two ways."""
    ask = Invalid(f"“{typed}” is not a number of grams, such as 1743.", field=field)
    spaced = re.sub(r"(?<=\d)[ '\u2019](?=\d{3}(?!\d))", "", typed)
    if " " in spaced or "'" in spaced or "\u2019" in spaced:
        raise ask
    marks = [mark for mark in spaced if mark in ".,"]
    if len(marks) > 1:
        last = marks[-1]
        whole, _, part = spaced.rpartition(last)
        groups = re.split(r"[.,]", whole)
        alike = len(set(marks[:-1])) == 1 and marks[0] != last
        if not alike or any(len(group) != 3 for group in groups[1:]) or not 1 <= len(groups[0]) <= 3 or not part:
            raise ask
        spaced = "".join(groups) + "." + part
    elif marks == [","] and unit != "kg" and re.fullmatch(r"\d{1,3},\d{3}", spaced):
        plain, point = spaced.replace(",", ""), spaced.replace(",", ".")
        raise Invalid(f"{spaced} can be read two ways. Write {plain}, or {point} with a point.", field=field)
    number = spaced.replace(",", ".")
    if not re.fullmatch(r"\d+(\.\d+)?", number):
        raise ask
    return float(number)
