"""The gallery of components."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.dashboards.pages.gallery import (
    PICTOGRAMS,
    example_forms,
    example_rows,
    gallery_marks,
    gallery_pictures,
)


@dataclass(frozen=True, slots=True)
class ExampleRefusal:
    """A refused row as importers show it."""

    line: int
    column: str
    message: str


@requires(Permission.READ)
def gallery(request: PersonRequest) -> HttpResponse:
    """Every component with an invented example: nothing here is a record, nothing is written."""
    context = {
        **example_forms(),
        "marks": gallery_marks(),
        "pictures": gallery_pictures(),
        "pictograms": [f"core/ui/pictogram_{name}.html" for name in PICTOGRAMS],
        "rows": example_rows(),
        "refusals": [ExampleRefusal(3, "species", "There is no Pyton regius. Did you mean Python regius?")],
        "pages": Paginator(range(9), 3).get_page(2),
    }
    return render(request, "dashboards/gallery.html", context)
