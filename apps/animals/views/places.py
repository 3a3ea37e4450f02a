"""Rooms and racks with who is in them, and where a printed QR code leads."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import SET_BY_HAND, HoldWord
from apps.animals.forms import PlaceHoldForm
from apps.animals.models import Animal
from apps.animals.pages.places import rack_page, rooms_page
from apps.animals.policies import right_to_lift
from apps.animals.selectors.listing import animals_in, rack_by_ref
from apps.animals.services import hold_place
from apps.animals.views.acts import posted, refuse
from apps.core.errors import DomainError
from apps.core.formats import count_text
from apps.places.selectors import tub_by_label

# A page of a higher floor, by address: a name would be an upward look.
CARDS_AT = "/cards/"


@requires(Permission.READ)
def places(request: PersonRequest) -> HttpResponse:
    """Every room in walking order, its racks drawn as they stand."""
    rooms = rooms_page()
    tubs = sum(rack.total for room in rooms for rack in room.racks)
    filled = sum(rack.filled for room in rooms for rack in room.racks)
    words = f"{count_text(len(rooms), 'room')}, {count_text(tubs, 'tub')}, {filled:,} with an animal."
    shown = [(room, [(hold, may(request.user, right_to_lift(hold))) for hold in room.holds]) for room in rooms]
    context = {
        "rooms": shown,
        "words": words if rooms else "No room is set up yet.",
        "may_set_up": may(request.user, Permission.PLACES_EDIT),
        "may_hold": may(request.user, Permission.TREATMENT_SET),
    }
    return render(request, "animals/places.html", context)


@requires(Permission.READ)
def rack(request: PersonRequest, ref: str) -> HttpResponse:
    """One rack, level by level."""
    found = rack_by_ref(ref)
    if found is None:
        raise Http404
    levels = rack_page(found)
    cells = [cell for level in levels for cell in level]
    inside = sum(len(cell.animals) for cell in cells)
    empty = sum(1 for cell in cells if not cell.animals)
    crowded = [cell for cell in cells if len(cell.animals) > 1]
    context = {
        "rack": found,
        "levels": levels,
        "words": f"{count_text(len(cells), 'tub')}, {count_text(inside, 'animal')}, {empty} empty.",
        "crowded": crowded,
        "inside": inside,
        "cards_at": CARDS_AT,
    }
    return render(request, "animals/rack.html", context)


@requires(Permission.READ)
def tub_landing(request: PersonRequest, ref: str) -> HttpResponse:
    """The tub's QR code: its animal when there is exactly one, else the tub itself."""
    tub = tub_by_label(ref)
    if tub is None or tub.ref != ref:
        raise Http404
    inside = animals_in([tub]).get(tub.pk, [])
    if len(inside) == 1 and "stay" not in request.GET:
        return redirect(inside[0])
    return render(request, "animals/tub.html", {"tub": tub, "animals": inside, **_rights(request)})


@requires(Permission.READ)
def animal_landing(request: PersonRequest, ref: str) -> HttpResponse:
    """The drawer card's QR code."""
    return redirect(get_object_or_404(Animal, ref=ref))


@requires(Permission.READ, write=Permission.TREATMENT_SET)
def place_hold(request: PersonRequest) -> HttpResponse:
    """Close a rack or a room off."""
    form = PlaceHoldForm(posted(request), words=SET_BY_HAND, initial=dict(request.GET.items()))
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        try:
            hold = hold_place(
                by=request.user,
                word=HoldWord(data.pop("word")),
                **data,
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{hold.rack or hold.room} is held: {hold.word}.")
            return redirect("animals:places")
    return render(request, "animals/place_hold.html", {"form": form}, status=400 if form.errors else 200)


def _rights(request: PersonRequest) -> dict[str, bool]:
    return {
        "may_add": may(request.user, Permission.ANIMALS_EDIT),
        "may_move": may(request.user, Permission.ANIMALS_MOVE),
    }
