"""The pictures of shipping, as facts in and an image out."""

from __future__ import annotations

from xml.etree import ElementTree

from apps.shipping.pages.parcel_trace_svg import LegMark, TraceFacts, parcel_trace_svg
from apps.shipping.pages.window_cell_svg import window_cell_svg

FACTS = TraceFacts(
    at_h=(0, 6, 12, 19),
    outside_c=(18, 8, 6, 14),
    expected_c=(24, 22, 20.5, 21),
    low_c=(24, 21, 19, 20),
    high_c=(24, 23, 22, 22.5),
    failed_c=(24, 15, 9.2, 12),
    band_c=(20, 29),
    red_c=(12, 34),
    legs=(LegMark(0, 4, "Lexington"), LegMark(4, 11, "hub"), LegMark(11, 19, "Tucson <counter>")),
    begins="Wed 17:00",
    ends="Thu 12:00",
)


def test_trace_is_well_formed_and_speaks_its_numbers() -> None:
    image = parcel_trace_svg(FACTS)
    root = ElementTree.fromstring(image)
    assert root.get("role") == "img"
    for words in ("20.5", "9.2", "failed pack", "outside", "Lexington", "Wed 17:00"):
        assert words in image
    assert "<counter>" not in image


def test_the_buyer_never_sees_the_failed_pack() -> None:
    image = parcel_trace_svg(FACTS, for_buyer=True, paper=True)
    assert "failed" not in image.split("</style>")[1].lower()
    assert "9.2" not in image
    assert "l-needs" not in image.split("</style>")[1]


def test_a_trace_needs_two_hours() -> None:
    empty = TraceFacts((0,), (1,), (1,), (1,), (1,), None, (20, 29), (12, 34), (), "", "")
    assert parcel_trace_svg(empty) == ""


def test_window_bar_stays_inside_its_box() -> None:
    for low, high in ((-9.0, 40.0), (21.0, 21.0), (12.0, 34.0), (-20.0, -19.0), (40.0, 41.0)):
        root = ElementTree.fromstring(window_cell_svg(lowest_c=low, highest_c=high, band_c=(20, 29)))
        assert (root.get("width"), root.get("height")) == ("12", "15")
        for bar in root.iter("{http://www.w3.org/2000/svg}rect"):
            top = float(bar.get("y", "0"))
            assert top >= 0
            assert top + float(bar.get("height", "0")) <= 15.11
