"""Pages of the hatch room and the nursery."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import Mode, Sex
from apps.animals.models import Animal, Brood
from apps.animals.selectors import animal_by_code, next_code
from apps.core import clock
from apps.core.errors import DomainError
from apps.hatchlings import services
from apps.hatchlings.forms import HatchForm, IdentifyForm, LitterForm, SireForm
from apps.hatchlings.pages.hatch import chosen_egg, hatch_page
from apps.hatchlings.pages.nursery import ORDERS, nursery_page
from apps.hatchlings.pages.rooms import brood_rows
from apps.hatchlings.selectors import mass_question, possible_young
from apps.incubation.models import Egg
from apps.incubation.selectors.eggs import eggs_of
from apps.places.selectors import tub_by_label

YOUNG_A_PAGE = 100


@requires(Permission.READ)
def rooms(request: PersonRequest) -> HttpResponse:
    """Broods with living eggs, those that pip or are in their window first."""
    rows = brood_rows()
    context = {
        "rows": rows,
        "pipping": sum(row.pipping for row in rows),
        "now": sum(row.mark != "incubating" for row in rows),
        "may_hatch": may(request.user, Permission.HATCH),
    }
    return render(request, "hatchlings/rooms.html", context)


@requires(Permission.HATCH)
def hatch(request: PersonRequest, ref: str) -> HttpResponse:
    """From egg to labelled hatchling, egg by egg in one sitting."""
    brood = get_object_or_404(Brood.objects.select_related("dam__species", "species"), ref=ref)
    asked = request.POST.get("egg") or request.GET.get("egg") or ""
    chosen = chosen_egg(list(eggs_of(brood)), asked)
    form = HatchForm(request.POST or None, possible=possible_young(brood))
    if request.method == "POST" and form.is_valid():
        if chosen is None:
            form.add_error(None, "Choose the egg it came from.")
        else:
            animal = _hatched(request, chosen, form)
            if animal is not None:
                return redirect(f"{reverse('hatchlings:hatch', args=[brood.ref])}?out={animal.ref}")
    page = hatch_page(brood, asked=asked, out=request.GET.get("out", ""), chosen_look=str(form["look"].value() or ""))
    context: dict[str, Any] = {
        "page": page,
        "brood": brood,
        "form": form,
        "out": next((row for row in page.young if row.animal.ref == request.GET.get("out")), None),
        "next_code": next_code(brood.species),
        "may_settle": may(request.user, Permission.ANIMALS_EDIT),
    }
    return render(request, "hatchlings/hatch.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.ANIMALS_EDIT)
def settle_sire(request: PersonRequest, ref: str) -> HttpResponse:
    """Settle who sired a young."""
    animal = get_object_or_404(Animal.objects.select_related("brood"), ref=ref)
    form = SireForm(request.POST)
    sire = Animal.objects.filter(ref=request.POST.get("sire", "")).first()
    if not form.is_valid() or sire is None:
        messages.error(request, "Say which male, and what settled it.")
    else:
        key = request.POST.get("request_key")
        try:
            services.young_sire_settle(
                by=request.user, animal=animal, sire=sire, why=form.cleaned_data["why"], request_key=key
            )
        except DomainError as error:
            messages.error(request, error.message)
        else:
            messages.success(request, f"{sire.code} is recorded as sire of {animal.code}.")
    return _back(animal)


@require_POST
@requires(Permission.HATCH)
def identify(request: PersonRequest, ref: str) -> HttpResponse:
    """Say what a hatchling looks like."""
    animal = get_object_or_404(Animal.objects.select_related("brood"), ref=ref)
    form = IdentifyForm(request.POST)
    if form.is_valid():
        try:
            found = services.young_identify(
                by=request.user,
                animal=animal,
                notation=form.cleaned_data["traits"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            messages.error(request, error.message)
        else:
            if found.warning:
                messages.warning(request, found.warning)
            else:
                messages.success(request, f"{animal.code} is recorded as {found.notation or 'normal'}.")
    return _back(animal)


@requires(Permission.HATCH)
def litter(request: PersonRequest) -> HttpResponse:
    """Record a litter of a live-bearer."""
    asked = request.POST.get("female") or request.GET.get("female") or ""
    female = animal_by_code(asked) if asked else None
    if female is not None and (female.sex != Sex.FEMALE or female.species.mode != Mode.LIVE):
        female = None
    posted = request.method == "POST" and "alive" in request.POST
    now = clock.local(clock.now()).strftime("%Y-%m-%dT%H:%M")
    form = LitterForm(request.POST) if posted else LitterForm(initial={"born_at": now, "stillborn": 0, "slugs": 0})
    if posted and female is not None and form.is_valid():
        data = form.cleaned_data
        try:
            brood = services.litter_born(
                by=request.user,
                dam=female,
                born_at=data["born_at"].replace(tzinfo=clock.zone()),
                alive=data["alive"],
                slugs=data["slugs"],
                stillborn=data["stillborn"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        else:
            messages.success(request, f"{brood.code}: {data['alive']} young registered.")
            return redirect("hatchlings:hatch", ref=brood.ref)
    return render(request, "hatchlings/litter.html", {"female": female, "asked": asked, "form": form})


@requires(Permission.READ)
def nursery(request: PersonRequest) -> HttpResponse:
    """The raising board: what each young still lacks."""
    asked = {name: request.GET.get(name, "") for name in ("show", "species", "order")}
    board = nursery_page(show=asked["show"], species=asked["species"], order=asked["order"])
    page = Paginator(board.rows, YOUNG_A_PAGE).get_page(request.GET.get("page"))
    query = urlencode({name: value for name, value in asked.items() if value})
    context = {
        "board": board,
        "page": page,
        "asked": asked,
        "orders": ORDERS,
        "query": f"{query}&" if query else "",
    }
    return render(request, "hatchlings/nursery.html", context)


def _back(animal: Animal) -> HttpResponse:
    """To the sitting of its brood, with this young in hand."""
    if animal.brood is None:
        return redirect("hatchlings:nursery")
    return redirect(f"{reverse('hatchlings:hatch', args=[animal.brood.ref])}?out={animal.ref}")


def _hatched(request: PersonRequest, egg: Egg, form: HatchForm) -> Animal | None:
    data = form.cleaned_data
    tub = tub_by_label(data["tub"]) if data["tub"] else None
    if data["tub"] and tub is None:
        form.add_error("tub", f"There is no tub labelled {data['tub']}.")
        return None
    try:
        animal = services.egg_hatch(
            by=request.user,
            egg=egg,
            hatched_at=data["hatched_at"].replace(tzinfo=clock.zone()) if data["hatched_at"] else None,
            sex=data["sex"],
            mass_g=data["mass_g"],
            traits=form.seen(),
            code=data["code"].strip() or None,
            letter=data["letter"].strip().lower(),
            tub=tub,
            request_key=request.POST.get("request_key"),
        )
    except DomainError as error:
        form.add_error(error.field if error.field in form.fields else None, error.message)
        return None
    found = animal.via_hatchlings_identifications.order_by("-at").first()
    if found is not None and found.warning:
        messages.warning(request, f"{animal.code}: {found.warning}")
    else:
        messages.success(request, f"{animal.code} hatched from {egg.code}.")
    question = mass_question(animal, data["mass_g"])
    if question:
        messages.warning(request, question)
    return animal
