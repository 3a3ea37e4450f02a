"""The next round within the hours there are, a round entered from paper, and what another house number would change."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, may, requires
from apps.animals.forms import NumberForm
from apps.animals.models import Species
from apps.animals.selectors import number_rows
from apps.breeding import services
from apps.breeding.choices import NoReading
from apps.breeding.forms import MomentField, PlanForm, refuse, typed_mm
from apps.breeding.models import ScanRound
from apps.breeding.selectors.number_effects import NumberEffects, number_effects
from apps.breeding.selectors.round_plan import RoundPlan, round_plan
from apps.breeding.selectors.round_progress import LineProgress, round_progress
from apps.breeding.selectors.seasons import rooms_with_females
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many
from apps.core.formats import count_text

HOURS = 3.0


@requires(Permission.SCANS_RECORD)
def plan(request: PersonRequest) -> HttpResponse:
    """Which females the next round takes in the hours there are; one button opens it."""
    given = request.POST if request.method == "POST" else request.GET
    asked = "hours" in given
    form = PlanForm(given if asked else None, rooms=rooms_with_females(), initial={"at": clock.now(), "hours": HOURS})
    found: RoundPlan | None = None
    if not asked:
        found = round_plan(clock.now(), HOURS)
    elif form.is_valid():
        found = round_plan(form.cleaned_data["at"], form.cleaned_data["hours"], form.cleaned_data["rooms"] or None)
        if request.method == "POST":
            try:
                made = services.scan_round_open(
                    by=request.user,
                    females=[one.female for one in found.chosen],
                    note=f"planned, {form.cleaned_data['hours']:g} h",
                    request_key=request.POST.get("request_key") or None,
                )
            except DomainError as error:
                refuse(form, error)
            else:
                return redirect("breeding:round", ref=made.ref)
    context = {"form": form, "plan": found}
    return render(request, "breeding/round_plan.html", context, status=400 if form.errors else 200)


@requires(Permission.READ)
def number_effects_page(request: PersonRequest, ref: str, key: str) -> HttpResponse:
    """What another number would change, female by female; nothing is written here."""
    species = get_object_or_404(Species, ref=ref)
    row = number_rows(species).get(key)
    form = NumberForm(request.GET or None, initial={"value": f"{row.value:g}" if row is not None else ""})
    found: NumberEffects | None = None
    if request.GET and form.is_valid():
        try:
            found = number_effects(species, key, form.cleaned_data["value"])
        except DomainError as error:
            refuse(form, error)
    context = {
        "species": species,
        "key": key,
        "row": row,
        "form": form,
        "found": found,
        "may_edit": may(request.user, Permission.TRAITS_EDIT),
    }
    return render(request, "breeding/number_effects.html", context, status=400 if form.errors else 200)


@dataclass
class PaperLine:
    """A female without a reading, what was typed beside her, and why it was refused."""

    line: LineProgress
    mm: str = ""
    count: str = ""
    why: str = ""
    doubtful: bool = False
    errors: list[str] = field(default_factory=list)


@requires(Permission.SCANS_RECORD)
def paper(request: PersonRequest, ref: str) -> HttpResponse:
    """Enter what was written on the printed sheet: a line per female in walking order, saved together."""
    found = get_object_or_404(ScanRound.objects.prefetch_related("rooms"), ref=ref)
    if found.closed_at is not None:
        return redirect("breeding:round-summary", ref=ref)
    rows = [_typed(request, line) for line in round_progress(found).lines if not line.is_done]
    moment = MomentField(label="Read at")
    errors: list[str] = []
    if request.method == "POST":
        try:
            at = moment.clean(request.POST.get("at"))
            scans = services.scan_round_enter(
                by=request.user,
                round=found,
                lines=_lines(rows),
                observed_at=at,
                request_key=request.POST.get("request_key") or None,
            )
        except DomainError as error:
            errors = _beside(rows, error)
        except ValidationError as error:
            errors = [f"Read at: {words}" for words in error.messages]
        else:
            messages.success(request, f"{count_text(len(scans), 'reading')} entered from paper.")
            return redirect("breeding:round-summary", ref=ref)
    context = {
        "round": found,
        "rows": rows,
        "at": request.POST.get("at") or f"{clock.local(clock.now()):%Y-%m-%dT%H:%M}",
        "reasons": NoReading.choices,
        "errors": errors,
    }
    refused = bool(errors) or any(row.errors for row in rows)
    return render(request, "breeding/round_paper.html", context, status=400 if refused else 200)


def _typed(request: PersonRequest, line: LineProgress) -> PaperLine:
    given, key = request.POST, line.female.ref
    return PaperLine(
        line,
        given.get(f"mm-{key}", "").strip(),
        given.get(f"count-{key}", "").strip(),
        given.get(f"why-{key}", ""),
        bool(given.get(f"doubtful-{key}")),
    )


def _lines(rows: list[PaperLine]) -> list[services.SheetLine]:
    found, wrong = [], False
    for row in rows:
        if not (row.mm or row.count or row.why):
            continue
        mm = typed_mm(row.mm)
        if row.mm and mm is None:
            row.errors.append(f"“{row.mm}” is no diameter. Write it as 21.4 or 21,4.")
        if row.count and not row.count.isdigit():
            row.errors.append(f"“{row.count}” is no count.")
        if row.count and not row.mm:
            row.errors.append("A count stands beside a diameter.")
        if row.mm and row.why:
            row.errors.append("Either a diameter or a reason why there is none.")
        wrong = wrong or bool(row.errors)
        if row.errors:
            continue
        found.append(
            services.SheetLine(
                female=row.line.female,
                mm=mm,
                count=int(row.count) if row.count else None,
                doubtful=row.doubtful,
                no_reading=row.why,
                note="from paper" if row.why == NoReading.OTHER else "",
            )
        )
    if wrong:
        raise Invalid("Nothing was saved yet. Mend the marked lines and save again.", field="lines")
    return found


def _beside(rows: list[PaperLine], error: DomainError) -> list[str]:
    """Put each refusal beside its female; what belongs to none stands above."""
    by_ref = {row.line.female.ref: row for row in rows}
    above = []
    for one in error.errors if isinstance(error, Many) else [error]:
        row = by_ref.get(one.field or "")
        if row is None:
            above.append(one.message)
        else:
            row.errors.append(one.message)
    return above or ["Nothing was saved yet. Mend the marked lines and save again."]
