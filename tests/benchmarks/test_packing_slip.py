"""One packing slip, as a ratio to a page with one line of text made by the same renderer in the same run.

Run by hand: ``pytest tests/benchmarks/test_packing_slip.py -n0``. The first rendering of a process also reads the fonts
and is left out on both sides.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import pytest
from weasyprint import HTML

from apps.accounts.models import Person
from apps.core import clock
from apps.documents.services.papers import pdf_render
from apps.shipping.choices import Verdict
from apps.shipping.papers import slip_context
from apps.shipping.services import parcel_book, parcel_windows_refresh
from tests.factories.shipping import make_parcel, make_weather

pytestmark = [pytest.mark.benchmark_suite, pytest.mark.usefixtures("knowledge", "frozen")]
ANIMALS = 4
RUNS = 7
MOST_TIMES_THE_REFERENCE = 250.0


def median_of(act: Callable[[], object]) -> float:
    """Seconds, the median of some runs after one that is not counted."""
    act()
    taken = []
    for _ in range(RUNS):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return statistics.median(taken)


def test_one_packing_slip(owner: Person) -> None:
    """Four animals, the predicted course, the cautions and the code: read from the database and rendered."""
    parcel = make_parcel(owner, animals=ANIMALS)
    make_weather(owner, parcel)
    go = next(row.day for row in parcel_windows_refresh(by=owner, parcel=parcel) if row.verdict == Verdict.GO)
    parcel = parcel_book(by=owner, parcel=parcel, day=go)
    pages: list[bytes] = []

    def slip() -> None:
        context = {"printed_on": clock.today(), **slip_context(parcel)}
        pages.append(pdf_render("shipping/papers/packing_slip.html", context))

    reference = median_of(lambda: HTML(string="<p>one line</p>").write_pdf())
    whole = median_of(slip)
    assert all(page.startswith(b"%PDF") for page in pages)
    print(f"\none line {reference * 1000:.1f} ms, slip {whole * 1000:.0f} ms ({whole / reference:.0f} x)")  # noqa: T201
    assert whole < MOST_TIMES_THE_REFERENCE * reference
