"""Pages of the feeding plan: every rack, one rack, and what comes out of the freezer tonight."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.models import Animal
from apps.care.pages.feeding_plan import plan_page, rack_plan, thaw_page
from apps.care.pages.growth import growth_page
from apps.care.papers import thaw_list_make
from apps.core import clock
from apps.places.models import Rack


@requires(Permission.READ)
@require_safe
def feeding_plan(request: PersonRequest) -> HttpResponse:
    """Who is to be offered what today, rack by rack in walking order; and who needs a look."""
    return render(request, "care/plan.html", {"page": plan_page()})


@requires(Permission.READ)
@require_safe
def feeding_plan_rack(request: PersonRequest, ref: str) -> HttpResponse:
    """One rack, tub by tub, with the reasons."""
    rack = get_object_or_404(Rack.objects.select_related("room"), ref=ref)
    rows = rack_plan(rack)
    due = sum(1 for row in rows if row.is_due)
    return render(request, "care/plan_rack.html", {"rack": rack, "rows": rows, "due": due, "on": clock.today()})


@requires(Permission.READ)
@require_safe
def thaw(request: PersonRequest) -> HttpResponse:
    """Tonight's thaw list: in all for the freezer, by rack for the walk."""
    return render(request, "care/thaw.html", {"page": thaw_page()})


@requires(Permission.CARE_RECORD)
@require_POST
def thaw_print(request: PersonRequest) -> HttpResponse:
    """The list as a paper."""
    document = thaw_list_make(by=request.user, request_key=request.POST.get("request_key"))
    return redirect("documents:document", ref=document.ref)


@requires(Permission.READ)
@require_safe
def growth(request: PersonRequest, ref: str) -> HttpResponse:
    """One animal's weights against what is usual at its age, and its clutch-mates."""
    animal = get_object_or_404(Animal.objects.select_related("species", "tub__rack__room"), ref=ref)
    return render(request, "care/growth.html", {"animal": animal, "page": growth_page(animal)})
