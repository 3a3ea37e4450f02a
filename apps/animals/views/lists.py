"""The list of animals, a new one."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.choices import Purpose, Sex, Status
from apps.animals.forms import NewAnimalForm
from apps.animals.selectors import all_species, next_code
from apps.animals.selectors.listing import AnimalFilter, animals_listed, status_counts
from apps.animals.services import animal_register
from apps.animals.views.acts import posted, refuse
from apps.core.errors import DomainError
from apps.core.formats import count_text

ANIMALS_A_PAGE = 100
# Pages of the top floor, by address: a name would be an upward look.
IMPORT_AT, EXPORT_AT = "/import/", "/export/animals.csv"


@requires(Permission.READ)
def animal_list(request: PersonRequest) -> HttpResponse:
    """Animals by code, filtered."""
    asked = request.GET
    wanted = AnimalFilter(
        species=asked.get("species", ""),
        sex=asked.get("sex", ""),
        status=asked.get("status", Status.HERE),
        purpose=asked.get("purpose", ""),
        text=asked.get("text", "")[:60],
    )
    page = Paginator(animals_listed(wanted), ANIMALS_A_PAGE).get_page(asked.get("page"))
    counts = status_counts()
    query = asked.copy()
    query.pop("page", None)
    context = {
        "page": page,
        "wanted": wanted,
        "words": _words(counts),
        "any": bool(counts),
        "query": f"{query.urlencode()}&" if query else "",
        "species": all_species(),
        "sexes": Sex.values,
        "statuses": Status.values,
        "purposes": Purpose.values,
        "may_add": may(request.user, Permission.ANIMALS_EDIT),
        "import_at": IMPORT_AT,
        "export_at": EXPORT_AT,
        "may_import": may(request.user, Permission.IMPORT),
        "may_export": may(request.user, Permission.EXPORT),
    }
    return render(request, "animals/list.html", context)


def _words(counts: dict[str, int]) -> str:
    """``318 animals here, 41 sold, 3 dead.``"""
    if not counts:
        return "No animal is recorded yet."
    here = counts.get(Status.HERE, 0)
    rest = [f"{number:,} {word}" for word, number in counts.items() if word != Status.HERE]
    return ", ".join([f"{count_text(here, 'animal')} here", *rest]) + "."


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def animal_new(request: PersonRequest) -> HttpResponse:
    """Register one animal."""
    species = list(all_species()[:8])
    given = {"species": species[0].slug if species else None, "tub": request.GET.get("tub", "")}
    if species:
        given["code"] = next_code(species[0])
    form = NewAnimalForm(posted(request), initial=given)
    if request.method == "POST" and form.is_valid():
        try:
            animal = animal_register(by=request.user, **form.cleaned_data, request_key=request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{animal.code} is registered.")
            return redirect(animal)
    nexts = [(one.common, next_code(one)) for one in species]
    return render(request, "animals/new.html", {"form": form, "nexts": nexts}, status=400 if form.errors else 200)
