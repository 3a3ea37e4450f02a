"""Acts on one animal: each one form, one service, one sentence of what was done."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals import services
from apps.animals.choices import SET_BY_HAND, HandlingAct, HoldWord, Status, TraitBasis
from apps.animals.forms import HoldForm, MoveForm, RecordForm, SireForm, StatusForm, TraitsForm
from apps.animals.models import Animal, Hold
from apps.animals.policies import STATUS_TRANSITIONS, handling_blocks, hold_words, right_to_lift
from apps.animals.selectors import animals, hold_history, holds_in_force
from apps.core import clock
from apps.core.errors import DomainError, Many

Run = Callable[[dict[str, Any], str | None], str]


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, even when it is nothing: an empty entry is answered, not taken for a first look."""
    return request.POST if request.method == "POST" else None


def refuse(form: forms.Form, error: DomainError) -> None:
    """Put a service's refusal beside its field."""
    for one in error.errors if isinstance(error, Many) else [error]:
        form.add_error(one.field if one.field in form.fields else None, forms.ValidationError(one.message, one.code))


def animal_of(ref: str) -> Animal:
    """The animal of an address, or 404."""
    return get_object_or_404(animals(), ref=ref)


def act_page(
    request: PersonRequest,
    animal: Animal,
    form: forms.Form,
    run: Run,
    *,
    title: str,
    words: str,
    submit: str,
    warnings: list[str] | None = None,
) -> HttpResponse:
    """Show a form; on a good entry do it, say so, and go back to the animal."""
    if request.method == "POST" and form.is_valid():
        try:
            done = run(dict(form.cleaned_data), request.POST.get("request_key"))
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, done)
            return redirect(animal)
    context = {
        "animal": animal,
        "form": form,
        "title": title,
        "words": words,
        "submit": submit,
        "warnings": warnings or [],
    }
    return render(request, "animals/act.html", context, status=400 if form.errors else 200)


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def edit(request: PersonRequest, ref: str) -> HttpResponse:
    """Change what is recorded; codes, lineage, traits and places have their own acts."""
    animal = animal_of(ref)
    given = {name: getattr(animal, name) for name in RecordForm.base_fields}
    form = RecordForm(posted(request), initial=given)

    def run(data: dict[str, Any], key: str | None) -> str:
        services.animal_change(by=request.user, animal=animal, values=data, request_key=key)
        return f"{animal.code} saved."

    return act_page(
        request,
        animal,
        form,
        run,
        title="Edit",
        words="Its code stays. What changed is kept with who and when.",
        submit="Save",
    )


@requires(Permission.READ, write=Permission.ANIMALS_MOVE)
def move(request: PersonRequest, ref: str) -> HttpResponse:
    """Into another tub."""
    animal = animal_of(ref)
    form = MoveForm(posted(request))

    def run(data: dict[str, Any], key: str | None) -> str:
        services.animal_move(by=request.user, animal=animal, **data, request_key=key)
        others = Animal.objects.filter(tub=data["tub"]).exclude(pk=animal.pk).values_list("code", flat=True)
        beside = f" {', '.join(others)} is in it too: scan both labels." if others else ""
        return f"{animal.code} is in {data['tub'].label} now.{beside}"

    warnings = [hold_words(hold) for hold in handling_blocks(animal, HandlingAct.MOVE)]
    words = f"It is in {animal.tub.label}." if animal.tub else "It is in no tub."
    return act_page(request, animal, form, run, title="Move", words=words, submit="Move it", warnings=warnings)


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def traits(request: PersonRequest, ref: str) -> HttpResponse:
    """State what it carries."""
    animal = animal_of(ref)
    form = TraitsForm(posted(request), initial={"notation": animal.traits})

    def run(data: dict[str, Any], key: str | None) -> str:
        basis = TraitBasis(data.pop("basis"))
        row = services.trait_state(by=request.user, animal=animal, basis=basis, **data, request_key=key)
        return f"{animal.code}: {row.notation or 'no trait'}."

    words = f"Now: {animal.traits or 'nothing stated'}. Earlier statements stay on record."
    return act_page(request, animal, form, run, title="Traits", words=words, submit="State it")


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def status(request: PersonRequest, ref: str) -> HttpResponse:
    """It left, came back, or died. Sold is what an order's hand-over makes it."""
    animal = animal_of(ref)
    possible = sorted(STATUS_TRANSITIONS[Status(animal.status)] - {Status.SOLD})
    form = StatusForm(posted(request), choices=possible, initial={"on": clock.today()})

    def run(data: dict[str, Any], key: str | None) -> str:
        to = Status(data.pop("status"))
        services.animal_status_set(by=request.user, animal=animal, status=to, **data, request_key=key)
        return f"{animal.code} is {to.value}."

    words = f"It is {animal.status}. "
    words += "Leaving empties its tub. Sold is set when its order is handed over." if possible else "That is final."
    return act_page(request, animal, form, run, title="Status", words=words, submit="Record it")


@requires(Permission.READ, write=Permission.ANIMALS_EDIT)
def sire(request: PersonRequest, ref: str) -> HttpResponse:
    """Settle who sired it."""
    animal = animal_of(ref)
    form = SireForm(posted(request), initial={"sire": animal.sire.code if animal.sire else ""})

    def run(data: dict[str, Any], key: str | None) -> str:
        after = services.sire_settle(by=request.user, animal=animal, **data, request_key=key)
        return f"Sire of {animal.code}: {after.sire.code if after.sire else 'not known'}."

    words = f"Now: {animal.sire.code if animal.sire else 'not known'}."
    if animal.sire_settled_at:
        words += f" Settled by {animal.sire_settled_by}: {animal.sire_settled_why}."
    return act_page(request, animal, form, run, title="Sire", words=words, submit="Settle it")


@requires(Permission.READ, write=Permission.TREATMENT_SET)
def holds(request: PersonRequest, ref: str) -> HttpResponse:
    """What holds it, since when, and a hold set by hand."""
    animal = animal_of(ref)
    form = HoldForm(posted(request), words=SET_BY_HAND)
    if request.method == "POST" and form.is_valid():
        data = dict(form.cleaned_data)
        word = HoldWord(data.pop("word"))
        try:
            services.hold_place(
                by=request.user, animal=animal, word=word, **data, request_key=request.POST.get("request_key")
            )
        except DomainError as error:
            refuse(form, error)
        else:
            messages.success(request, f"{animal.code} is held: {word.value}.")
            return redirect("animals:holds", ref=animal.ref)
    standing = holds_in_force([animal], clock.now()).get(animal.pk, [])
    context = {
        "animal": animal,
        "form": form,
        "standing": [(hold, hold_words(hold), may(request.user, right_to_lift(hold))) for hold in standing],
        "history": hold_history(animal)[:50],
        "may_set": may(request.user, Permission.TREATMENT_SET),
    }
    return render(request, "animals/holds.html", context, status=400 if form.errors else 200)


@require_POST
@requires(Permission.READ)
def hold_end(request: PersonRequest, ref: str) -> HttpResponse:
    """End a hold now; which right it takes depends on the hold."""
    hold = get_object_or_404(Hold.objects.select_related("animal"), ref=ref)
    services.hold_lift(by=request.user, hold=hold, request_key=request.POST.get("request_key"))
    messages.success(request, f"The hold “{hold.word}” has ended.")
    return redirect("animals:holds", ref=hold.animal.ref) if hold.animal else redirect("animals:places")
