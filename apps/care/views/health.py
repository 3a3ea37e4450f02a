"""Health: what is due now, quarantines with their clocks, and one animal's notes, tests and treatments."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.models import Animal, Hold
from apps.care import services
from apps.care.forms import (
    DoseForm,
    HealthTestForm,
    NoteForm,
    ReleaseForm,
    ResultForm,
    TreatmentEndForm,
    TreatmentForm,
)
from apps.care.models import DoseDue, HealthTest, Treatment
from apps.care.pages.health import animal_health_page, health_page
from apps.care.policies import may_record, may_strike
from apps.care.views.acting import refuse
from apps.core.errors import DomainError, Invalid

Act = Callable[[Person, Animal, dict[str, Any], str | None], str]


def _note(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    services.health_note_record(by=by, animal=animal, **data, request_key=key)
    return "The note is kept. It stays open until somebody closes it."


def _test(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    services.health_test_record(by=by, animal=animal, **data, request_key=key)
    return "The test is kept; its result is awaited."


def _result(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    test = HealthTest.objects.filter(ref=data.pop("test"), animal=animal).select_related("animal").first()
    if test is None:
        raise Invalid("There is no such test of this animal.", field="test")
    row = services.health_test_result(by=by, test=test, **data, request_key=key)
    return f"The {row.kind} test came back {row.result}."


def _treatment(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    services.treatment_begin(by=by, animal=animal, **data, request_key=key)
    return f"{animal.code} is in treatment, and held until somebody ends it."


def _dose(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    due = DoseDue.objects.select_related("treatment__animal__species")
    found = due.filter(pk=data.pop("due"), treatment__animal=animal).first()
    if found is None:
        raise Invalid("There is no such dose of this animal.", field="due")
    row = services.dose_record(by=by, due=found, **data, request_key=key)
    return f"Dose {found.number} {row.outcome}."


def _end(by: Person, animal: Animal, data: dict[str, Any], key: str | None) -> str:
    row = Treatment.objects.filter(ref=data.pop("treatment"), animal=animal).select_related("animal").first()
    if row is None:
        raise Invalid("There is no such treatment of this animal.", field="treatment")
    services.treatment_end(by=by, treatment=row, **data, request_key=key)
    return "The treatment is ended, and its hold with it."


ACTS: dict[str, tuple[type[forms.Form], Act]] = {
    "note": (NoteForm, _note),
    "test": (HealthTestForm, _test),
    "result": (ResultForm, _result),
    "treatment": (TreatmentForm, _treatment),
    "dose": (DoseForm, _dose),
    "end": (TreatmentEndForm, _end),
}


@requires(Permission.READ, write=Permission.CARE_RECORD)
def animal_health(request: PersonRequest, ref: str) -> HttpResponse:
    """One animal's health: open notes, what a veterinarian prescribed and is due, tests, quarantine, history."""
    animal = get_object_or_404(Animal.objects.select_related("species", "tub__rack__room"), ref=ref)
    bound: dict[str, forms.Form] = {}
    if request.method == "POST":
        name = request.POST.get("act", "")
        if name not in ACTS:
            raise Invalid("Nothing of that name can be recorded here.", field="act")
        form_class, act = ACTS[name]
        form = form_class(request.POST, auto_id=f"{name}_%s")
        if form.is_valid():
            try:
                words = act(request.user, animal, dict(form.cleaned_data), request.POST.get("request_key"))
            except DomainError as error:
                refuse(form, error)
            else:
                messages.success(request, f"{animal.code}: {words[0].lower()}{words[1:]}")
                return redirect("care:animal-health", ref=animal.ref)
        bound[name] = form
    page = animal_health_page(animal)
    context = {
        "page": page,
        "animal": animal,
        "forms": {name: bound.get(name) or kind(auto_id=f"{name}_%s") for name, (kind, _) in ACTS.items()},
        "refused": [message for form in bound.values() for found in form.errors.values() for message in found],
        "entries": [(entry, may_strike(request.user, entry.fact)) for entry in page.entries],
        "may_record": may(request.user, Permission.CARE_RECORD) and may_record(animal),
        "may_treat": may(request.user, Permission.TREATMENT_SET) and may_record(animal),
    }
    return render(request, "care/animal_health.html", context, status=400 if bound else 200)


@requires(Permission.READ, write=Permission.TREATMENT_SET)
def health(request: PersonRequest) -> HttpResponse:
    """What waits for somebody: doses due, quarantines and their days, late notes, tests without a result."""
    form = ReleaseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        hold = get_object_or_404(Hold, ref=form.cleaned_data["hold"])
        try:
            services.quarantine_release(
                by=request.user,
                hold=hold,
                why=form.cleaned_data["why"],
                request_key=request.POST.get("request_key"),
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, "The quarantine is released.")
            return redirect("care:health")
    context = {
        "page": health_page(),
        "form": form,
        "asked": request.POST.get("hold", ""),
        "may_release": may(request.user, Permission.TREATMENT_SET),
        "may_past": may(request.user, Permission.WELFARE_LIFT),
    }
    return render(request, "care/health.html", context, status=400 if form.errors else 200)
