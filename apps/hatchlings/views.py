"""Pages of the hatch room and the nursery."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import Mode, Sex
from apps.animals.models import Animal, Brood
from apps.animals.selectors import animal_by_code
from apps.core import clock
from apps.core.errors import DomainError
from apps.hatchlings import services
from apps.hatchlings.forms import HatchForm, IdentifyForm, LitterForm
from apps.hatchlings.selectors import judged_of, possible_young, young_here
from apps.incubation.choices import EggState
from apps.incubation.models import Egg
from apps.incubation.selectors.eggs import broods_to_hatch, counts_of, eggs_of, forecasts_current
from apps.places.selectors import tub_by_label

HATCHABLE = (EggState.IN_BOX, EggState.PIPPING)
YOUNG_A_PAGE = 100


@requires(Permission.READ)
def rooms(request: PersonRequest) -> HttpResponse:
    """Broods with living eggs, those that pip or are in their window first."""
    broods = list(broods_to_hatch())
    forecasts, counts = forecasts_current(broods), counts_of(broods)
    rows = [(brood, forecasts.get(brood.pk), counts.get(brood.pk, {})) for brood in broods]
    today = clock.today()
    rows.sort(key=lambda row: (-row[2].get(EggState.PIPPING, 0), row[1].hatch_p10 if row[1] else today))
    pipping = sum(row[2].get(EggState.PIPPING, 0) for row in rows)
    due = sum(1 for row in rows if row[1] is not None and row[1].hatch_p10 <= today)
    context = {"rows": rows, "pipping": pipping, "due": due, "may_hatch": may(request.user, Permission.HATCH)}
    return render(request, "hatchlings/rooms.html", context)


@requires(Permission.HATCH)
def hatch(request: PersonRequest, ref: str) -> HttpResponse:
    """From egg to labelled hatchling, egg by egg in one sitting."""
    brood = get_object_or_404(Brood.objects.select_related("dam__species", "species"), ref=ref)
    possible = possible_young(brood)
    eggs = list(eggs_of(brood))
    waiting = [egg for egg in eggs if egg.state in HATCHABLE]
    chosen = _chosen(request, eggs, waiting)
    form = HatchForm(request.POST or None, possible=possible)
    if request.method == "POST" and chosen is not None and form.is_valid():
        animal = _hatched(request, chosen, form)
        if animal is not None:
            return redirect("hatchlings:hatch", ref=brood.ref)
    young = Animal.objects.filter(brood=brood).select_related("tub").order_by("egg_number", "egg_letter")
    context: dict[str, Any] = {
        "brood": brood,
        "possible": possible,
        "waiting": waiting,
        "chosen": chosen,
        "form": form,
        "young": [(animal, animal.via_hatchlings_identifications.order_by("-at").first()) for animal in young],
        "forecast": forecasts_current([brood]).get(brood.pk),
    }
    return render(request, "hatchlings/hatch.html", context, status=400 if form.errors else 200)


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
    if animal.brood is not None:
        return redirect("hatchlings:hatch", ref=animal.brood.ref)
    return redirect("hatchlings:nursery")


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
            return redirect("incubation:brood", ref=brood.ref)
    return render(request, "hatchlings/litter.html", {"female": female, "asked": asked, "form": form})


@requires(Permission.READ)
def nursery(request: PersonRequest) -> HttpResponse:
    """The raising board: what each young still lacks."""
    show = request.GET.get("show", "")
    judged = judged_of(young_here())
    ready = sum(row.is_ready for row in judged)
    if show == "ready":
        judged = [row for row in judged if row.is_ready]
    elif show == "missing":
        judged = [row for row in judged if not row.is_ready]
    page = Paginator(judged, YOUNG_A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "ready": ready, "show": show, "query": f"show={show}&" if show else ""}
    return render(request, "hatchlings/nursery.html", context)


def _chosen(request: PersonRequest, eggs: list[Egg], waiting: list[Egg]) -> Egg | None:
    asked = request.POST.get("egg") or request.GET.get("egg")
    if asked:
        return next((egg for egg in eggs if egg.ref == asked), None)
    pipping = [egg for egg in waiting if egg.state == EggState.PIPPING]
    return next(iter(pipping or waiting), None)


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
    return animal
