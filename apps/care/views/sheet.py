"""Fast entry from a sheet written by hand: a rack, line by line, with the keyboard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.models import Animal
from apps.care import services
from apps.care.choices import Presentation, PreyKind
from apps.care.forms import GramsField, SeenForm
from apps.care.selectors.racks import animals_of_rack
from apps.care.services import SheetLine
from apps.care.views.acting import refuse
from apps.care.views.rounds import round_or_404
from apps.core.errors import DomainError, Many
from apps.core.formats import count_text
from apps.places.models import Rack

COLUMNS = ("meal", "mass_g", "shed", "marks", "shape")


class SheetFoodForm(SeenForm):
    """When the sheet was written, and what was offered where a line says o."""

    prey = forms.ChoiceField(label="Prey", choices=[("", "none offered"), *PreyKind.choices], required=False)
    size = forms.CharField(label="Size", max_length=20, required=False)
    prey_g = GramsField(label="Mass of one", required=False)
    count = forms.IntegerField(label="How many each", min_value=1, max_value=200, initial=1, required=False)
    presentation = forms.ChoiceField(label="How", choices=Presentation.choices, required=False)

    def food(self) -> dict[str, Any] | None:
        """What the offers take, or None."""
        data = {name: value for name, value in self.cleaned_data.items() if name != "observed_at"}
        return data | {"count": data["count"] or 1} if data["prey"] else None


@dataclass(frozen=True, slots=True)
class TypedLine:
    """One line of the sheet as typed, with what is wrong with it."""

    animal: Animal
    typed: dict[str, str]
    doubtful: bool
    error: str = ""
    asks_doubtful: bool = False


@requires(Permission.READ, write=Permission.CARE_RECORD)
def sheet_entry(request: PersonRequest, ref: str, rack_ref: str) -> HttpResponse:
    """Type a rack's lines of the sheet in; all of them are written, or none and each wrong one says why."""
    care_round = round_or_404(ref)
    rack = get_object_or_404(Rack.objects.select_related("room"), ref=rack_ref, room=care_round.room)
    animals = list(animals_of_rack(rack))
    form = SheetFoodForm(request.POST or None)
    errors: dict[str, str] = {}
    if request.method == "POST" and form.is_valid():
        lines = [_line(request, animal, errors) for animal in animals]
        if not errors:
            try:
                facts = services.sheet_record(
                    by=request.user,
                    rack=rack,
                    lines=lines,
                    food=form.food(),
                    observed_at=form.cleaned_data["observed_at"],
                    request_key=request.POST.get("request_key"),
                )
            except Many as error:
                errors |= {(one.field or "").partition("-")[0]: one.message for one in error.errors}
            except DomainError as error:
                refuse(form, error)
            else:
                messages.success(request, f"{rack.name}: {count_text(len(facts), 'entry', 'entries')} written.")
                return redirect(f"{care_round.get_absolute_url()}?rack={rack.ref}")
    shown = [_typed(request, animal, errors) for animal in animals]
    context = {"form": form, "round": care_round, "rack": rack, "lines": shown, "wrong": len(errors)}
    return render(request, "care/sheet_entry.html", context, status=400 if errors or form.errors else 200)


def _typed(request: PersonRequest, animal: Animal, errors: dict[str, str]) -> TypedLine:
    typed = {name: request.POST.get(f"{animal.ref}-{name}", "") for name in COLUMNS}
    error = errors.get(animal.ref, "")
    doubtful = f"{animal.ref}-doubtful" in request.POST
    return TypedLine(animal, typed, doubtful, error, "doubtful" in error or doubtful)


def _line(request: PersonRequest, animal: Animal, errors: dict[str, str]) -> SheetLine:
    line = _typed(request, animal, {})
    mass_g: float | None = None
    if line.typed["mass_g"].strip():
        try:
            mass_g = GramsField().clean(line.typed["mass_g"])
        except forms.ValidationError as error:
            errors[animal.ref] = f"{animal.code}: {' '.join(error.messages)}"
    kept = {name: value.strip()[:12] for name, value in line.typed.items() if name != "mass_g"}
    return SheetLine(animal=animal, mass_g=mass_g, doubtful=line.doubtful, **kept)
