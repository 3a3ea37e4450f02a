"""The trait catalogue of a species: what is shipped, what the house adds to it or changes, and what it took back."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.forms import CataloguePairForm, CatalogueTraitForm, CatalogueWelfareForm
from apps.animals.models import CatalogueEdit, Species
from apps.animals.selectors.catalogues import catalogue_edits, catalogue_fault, catalogue_of
from apps.animals.services import catalogue_edit, catalogue_edit_withdraw
from apps.animals.views.acts import refuse
from apps.core.errors import DomainError

CatalogueForm = CatalogueTraitForm | CataloguePairForm | CatalogueWelfareForm
FORMS: dict[str, type[CatalogueForm]] = {
    "trait": CatalogueTraitForm,
    "pair": CataloguePairForm,
    "welfare": CatalogueWelfareForm,
}
# fields of a row that the form asks for under another name
FIELDS = {"pair": {"pair": "first"}, "welfare": {"when": "trait", "name": "trait"}}


@requires(Permission.READ, write=Permission.TRAITS_EDIT)
def catalogue(request: PersonRequest, ref: str) -> HttpResponse:
    """Every series with its traits; the lead adds a trait, a pair's name or a welfare fact, or puts one right."""
    species = get_object_or_404(Species, ref=ref)
    kind = next((name for name in FORMS if f"add-{name}" in request.POST), "")
    if request.method == "POST" and not kind:
        messages.error(request, "Choose what to add: a trait, the name of a pair, or a welfare fact.")
        return redirect("animals:catalogue", ref=species.ref)
    forms = {name: form(request.POST if name == kind else None, auto_id=f"{name}_%s") for name, form in FORMS.items()}
    asked = forms.get(kind)
    if asked is not None and asked.is_valid():
        try:
            edit = catalogue_edit(
                by=request.user,
                species=species,
                kind=kind,
                body=asked.body(),
                reason=asked.cleaned_data["reason"],
                sure=asked.cleaned_data["sure"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            error.field = FIELDS.get(kind, {}).get(error.field or "", error.field)
            refuse(asked, error)
        else:
            messages.success(request, f"{edit.about} stands in the catalogue. What rests on it is worked out anew.")
            return redirect("animals:catalogue", ref=species.ref)
    for shown in forms.values():
        shown.unasked()
    edits = list(catalogue_edits(species))
    found = catalogue_of(species)
    context = {
        "species": species,
        "catalogue": found,
        "names": sum(len(locus.alleles) for locus in found.loci) if found else 0,
        "fault": catalogue_fault(species),
        "house": {edit.body.get("name") for edit in edits if edit.withdrawn_at is None},
        "edits": edits,
        "forms": forms,
        "asked": kind,
        "may_edit": may(request.user, Permission.TRAITS_EDIT),
    }
    return render(request, "animals/catalogue.html", context, status=400 if asked is not None else 200)


@requires(Permission.TRAITS_EDIT)
@require_POST
def withdraw(request: PersonRequest, ref: str) -> HttpResponse:
    """Take one edit back."""
    edit = get_object_or_404(CatalogueEdit.objects.select_related("species"), ref=ref)
    try:
        catalogue_edit_withdraw(
            by=request.user,
            edit=edit,
            reason=request.POST.get("reason", ""),
            request_key=request.POST.get("request_key"),
        )
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, f"{edit.about} is taken back. What rests on it is worked out anew.")
    return redirect("animals:catalogue", ref=edit.species.ref)
