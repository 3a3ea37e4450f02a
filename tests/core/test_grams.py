"""Grams as people type them and as scales send them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.core.errors import Invalid
from apps.core.units import read_grams


@pytest.mark.parametrize(
    ("typed", "grams"),
    [
        ("174.3", 174.3),
        ("174,3", 174.3),
        ("174.3 g", 174.3),
        ("  174.3g\r\n", 174.3),
        ("+174.3 g", 174.3),
        ("ST,GS,+  174.3g", 174.3),
        ("ST,NT,+ 0001743 g", 1743),
        ("S S     174.30 g", 174.3),
        ("N   +  174.3 g", 174.3),
        ("1743", 1743),
        ("1 743", 1743),
        ("1'743.5", 1743.5),
        ("1\u2009743 g", 1743),
        ("1,743.5", 1743.5),
        ("1.743,5 g", 1743.5),
        ("12,5 kg", 12500),
        ("1,743 kg", 1743),
        ("0,25kg", 250),
        ("6.15 oz", 6.15 * 28.349523125),
        ("2 lb", 2 * 453.59237),
        ("0", 0),
        ("1.743", 1.743),
    ],
)
def test_understood(typed: str, grams: float) -> None:
    assert read_grams(typed, field="mass_g") == pytest.approx(grams)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1,743", "can be read two ways"),
        ("ST,GS,+ 1,743g", "can be read two ways"),
        ("", "number of grams"),
        ("heavy", "number of grams"),
        ("-5", "above 0 g"),
        ("ST,GS,-  174.3g", "above 0 g"),
        ("US,GS,+  174.3g", "not steady"),
        ("OL", "number of grams"),
        ("174.3 174.4", "number of grams"),
        ("174.3 g 5", "number of grams"),
        ("174.3 stone", "not a unit"),
        ("1.2.3", "number of grams"),
        ("1,2,3", "number of grams"),
        ("12,34.5", "number of grams"),
        ("XX,GS,+ 174.3g", "number of grams"),
        ("١٧٤", "number of grams"),
        ("nan", "number of grams"),
        ("1e3", "number of grams"),
        ("174.", "number of grams"),
    ],
)
def test_refused_naming_the_field(typed: str, words: str) -> None:
    with pytest.raises(Invalid) as refused:
        read_grams(typed, field="mass_g")
    assert words in refused.value.message
    assert refused.value.field == "mass_g"


@given(tenths=st.integers(1, 1_999_999), comma=st.booleans(), unit=st.sampled_from(["", "g", " g"]))
def test_one_decimal_is_read_back_with_either_sign(tenths: int, comma: bool, unit: str) -> None:
    typed = f"{tenths // 10}{',' if comma else '.'}{tenths % 10}{unit}"
    assert read_grams(typed, field="g") == pytest.approx(tenths / 10)


@given(st.text(max_size=30))
def test_whatever_is_sent_is_a_number_or_a_refusal(text: str) -> None:
    try:
        grams = read_grams(text, field="g")
    except Invalid as refused:
        grams = 0.0 if refused.field == "g" else -1.0
    assert grams >= 0
