"""Scan rounds: the list, the round at the ultrasound, its summary and printed sheet."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.animals.models import Animal
from apps.breeding import services
from apps.breeding.choices import NoReading
from apps.breeding.errors import ImpossibleReading
from apps.breeding.forms import EntryForm, RoundForm, refuse
from apps.breeding.models import Scan, ScanRound
from apps.breeding.pages.round_list import round_list
from apps.breeding.pages.round_moved import moved_lines, summary_rows
from apps.breeding.pages.rounds import next_ref, preview_advice, round_page
from apps.breeding.pages.strips import preview_strip
from apps.breeding.papers import round_sheet_make
from apps.breeding.policies import check_female, check_here
from apps.breeding.selectors.labels import animal_by_label
from apps.breeding.selectors.preview import scan_preview
from apps.breeding.selectors.profiles import species_profile
from apps.breeding.selectors.round_progress import round_progress
from apps.breeding.selectors.seasons import rooms_with_females
from apps.core import clock
from apps.core.errors import DomainError, Invalid
from apps.core.formats import count_text

QUESTIONS = "scan_questions"
Carry = Callable[[PersonRequest, ScanRound, Animal, EntryForm], str]


@requires(Permission.SCANS_RECORD)
def rounds(request: PersonRequest) -> HttpResponse:
    """Rounds so far, and a new one for some rooms."""
    form = RoundForm(request.POST if request.method == "POST" else None, rooms=rooms_with_females())
    if request.method == "POST" and form.is_valid():
        try:
            made = services.scan_round_open(
                by=request.user,
                rooms=form.cleaned_data["rooms"],
                note=form.cleaned_data["note"],
                request_key=request.POST.get("request_key") or None,
            )
        except DomainError as error:
            refuse(form, error)
        else:
            return redirect("breeding:round", ref=made.ref)
    context = {"form": form, "page": round_list(request.GET.get("page", "1"))}
    return render(request, "breeding/rounds.html", context, status=400 if form.errors else 200)


@requires(Permission.SCANS_RECORD)
def scan_round(request: PersonRequest, ref: str) -> HttpResponse:
    """The round: one female at a time, a number and Enter."""
    found = get_object_or_404(ScanRound.objects.prefetch_related("rooms"), ref=ref)
    if found.closed_at is not None:
        return redirect("breeding:round-summary", ref=ref)
    if request.method != "POST":
        return _show(request, found, at=request.GET.get("at", ""))
    form = EntryForm(request.POST)
    if not form.is_valid():
        return _show(request, found, at=request.POST.get("female", ""), errors=_words(form))
    female = get_object_or_404(Animal.objects.select_related("species"), ref=form.cleaned_data["female"])
    carry = CARRY.get(request.POST.get("act", "save"), _save)
    try:
        at = carry(request, found, female, form)
    except DomainError as error:
        return _show(
            request,
            found,
            at=female.ref,
            errors=[error.message],
            typed=form.cleaned_data["mm"],
            typed_count=form.cleaned_data["count"],
        )
    if request.headers.get("HX-Request"):
        return _show(request, found, at=at, part=True)
    address = reverse("breeding:round", args=[ref])
    return redirect(f"{address}?{urlencode({'at': at})}" if at else address)


@requires(Permission.SCANS_RECORD)
@require_safe
def preview(request: PersonRequest, ref: str) -> HttpResponse:
    """What the typed number would mean; nothing is written."""
    get_object_or_404(ScanRound, ref=ref)
    female = get_object_or_404(Animal.objects.select_related("species"), ref=request.GET.get("female", ""))
    form = EntryForm(request.GET)
    mm = form.number() if form.is_valid() else None
    profile = species_profile(female.species)
    context: dict[str, Any] = {"advice": None, "error": "", "strip": ""}
    if mm is not None:
        try:
            answer = scan_preview(female, mm, profile)
        except ImpossibleReading as error:
            context["error"] = error.message
        else:
            if answer is not None:
                context["advice"] = preview_advice(answer[0])
                context["strip"] = preview_strip(female, mm, answer, profile, clock.today())
    return render(request, "breeding/round_preview.html", context)


@requires(Permission.SCANS_RECORD)
@require_POST
def round_close(request: PersonRequest, ref: str) -> HttpResponse:
    """Close the round."""
    found = get_object_or_404(ScanRound, ref=ref)
    open_questions = len(_questions(request, found))
    if open_questions:
        messages.error(
            request, f"{count_text(open_questions, 'value')} still in question. Answer first, then close the round."
        )
        return redirect("breeding:round", ref=ref)
    try:
        services.scan_round_close(by=request.user, round=found, request_key=request.POST.get("request_key") or None)
    except DomainError as error:
        messages.error(request, error.message)
    return redirect("breeding:round-summary", ref=ref)


@requires(Permission.READ)
def summary(request: PersonRequest, ref: str) -> HttpResponse:
    """What the round found, those that moved first."""
    found = get_object_or_404(ScanRound.objects.prefetch_related("rooms"), ref=ref)
    progress = round_progress(found)
    rows = summary_rows(progress)
    context = {
        "round": found,
        "moved": moved_lines(progress, {}),
        "rows": [row for row in rows if row.moved],
        "others": [row for row in rows if not row.moved],
        "read": sum(line.scan is not None for line in progress.lines),
        "total": len(rows),
    }
    return render(request, "breeding/round_summary.html", context)


@requires(Permission.SCANS_RECORD)
@require_POST
def sheet(request: PersonRequest, ref: str) -> HttpResponse:
    """The printable sheet of the round, kept as a paper."""
    found = get_object_or_404(ScanRound.objects.prefetch_related("rooms"), ref=ref)
    document = round_sheet_make(by=request.user, scan_round=found)
    return redirect("documents:document", ref=document.ref)


def _show(
    request: PersonRequest,
    found: ScanRound,
    *,
    at: str,
    errors: list[str] | None = None,
    typed: str = "",
    typed_count: str = "",
    part: bool = False,
) -> HttpResponse:
    page = round_page(
        found,
        at=at,
        questions=_questions(request, found),
        person_id=request.user.pk,
        typed=typed,
        typed_count=typed_count,
        errors=errors,
    )
    part = part or bool(request.headers.get("HX-Request"))
    template = "breeding/round_work.html" if part else "breeding/round.html"
    # htmx swaps answers of 2xx only; the refusal stands in the page's own words
    return render(request, template, {"page": page}, status=400 if errors and not part else 200)


def _words(form: EntryForm) -> list[str]:
    return [str(error) for errors in form.errors.values() for error in errors]


def _questions(request: PersonRequest, found: ScanRound) -> dict[str, float]:
    """Values kept apart by this person in this round: asked about, never written until answered."""
    kept: dict[str, float] = request.session.get(QUESTIONS, {}).get(found.ref, {})
    return dict(kept)


def _keep_question(request: PersonRequest, found: ScanRound, questions: dict[str, float]) -> None:
    every = dict(request.session.get(QUESTIONS, {}))
    every[found.ref] = questions
    request.session[QUESTIONS] = {key: value for key, value in every.items() if value}


def _save(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    typed = form.cleaned_data["mm"].strip()
    mm = form.number()
    if mm is None:
        if not typed:
            raise Invalid("Type the diameter, or press n when there is no reading.", field="mm")
        return _labelled(found, typed)
    if mm == 0:
        raise Invalid("A follicle has a diameter above 0 mm. Type it again, or press n for no reading.", field="mm")
    questions = _questions(request, found)
    try:
        services.scan_record(
            by=request.user,
            female=female,
            mm=mm,
            round=found,
            count=form.counted(),
            stated_check=form.cleaned_data["stated_check"],
            request_key=request.POST.get("request_key") or None,
        )
    except ImpossibleReading:
        questions[female.ref] = mm
        _keep_question(request, found, questions)
        return next_ref(found, female.ref, questions)
    if questions.pop(female.ref, None) is not None:
        _keep_question(request, found, questions)
    return next_ref(found, female.ref, questions)


def _labelled(found: ScanRound, typed: str) -> str:
    """The female of a label, if she is to be scanned in this round; else why not, and the round stays where it is."""
    other = animal_by_label(typed)
    if other is None:
        raise Invalid(f"“{typed}” is neither a diameter nor a label of an animal here.", field="mm")
    check_female(other, field="mm")
    check_here(other, clock.today(), field="mm")
    if not found.lines.filter(female=other).exists():
        where = f"in {other.tub.rack.room.name}, {other.tub.label}" if other.tub else "in no tub"
        raise Invalid(
            f"{other.code} stands {where}, and is not on the list of this round. Enter her reading on her own page.",
            field="mm",
        )
    return other.ref


def _answer_doubtful(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    questions = _questions(request, found)
    mm = questions.pop(female.ref, None)
    if mm is None:
        raise Invalid("There is no value in question for her any more.", field="mm")
    services.scan_record(by=request.user, female=female, mm=mm, round=found, doubtful=True)
    _keep_question(request, found, questions)
    return next_ref(found, female.ref, questions)


def _answer_again(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    """Type again: back to her with an empty field."""
    questions = _questions(request, found)
    questions.pop(female.ref, None)
    _keep_question(request, found, questions)
    return female.ref


def _answer_later(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    """Scan again: the value is dropped and she is due again; the round goes on where it was."""
    questions = _questions(request, found)
    questions.pop(female.ref, None)
    _keep_question(request, found, questions)
    return request.POST.get("back", "")


def _skip(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    services.scan_skip(
        by=request.user,
        round=found,
        female=female,
        reason=NoReading(form.cleaned_data["reason"] or NoReading.OTHER),
        note=form.cleaned_data["note"],
        request_key=request.POST.get("request_key") or None,
    )
    return next_ref(found, female.ref, _questions(request, found))


def _unskip(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    services.scan_unskip(by=request.user, round=found, female=female)
    return female.ref


def _ovulated(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    """She has ovulated: the number typed with it is saved first, for it was read before."""
    mm = form.number()
    if mm is not None:
        services.scan_record(by=request.user, female=female, mm=mm, round=found, count=form.counted())
    services.ovulation_record(
        by=request.user,
        female=female,
        on=clock.today(),
        round=found,
        request_key=request.POST.get("request_key") or None,
    )
    if mm is None:
        services.scan_skip(by=request.user, round=found, female=female, reason=NoReading.OTHER, note="has ovulated")
    return next_ref(found, female.ref, _questions(request, found))


def _undo(request: PersonRequest, found: ScanRound, female: Animal, form: EntryForm) -> str:
    """The last own reading of this round, back to its female."""
    last = (
        Scan.objects.filter(round=found, by=request.user, struck_at__isnull=True)
        .select_related("animal__species", "by")
        .order_by("-recorded_at", "-pk")
        .first()
    )
    if last is None:
        raise Invalid("You have no reading in this round to undo.", field="mm")
    services.scan_strike(by=request.user, scan=last)
    return last.animal.ref


CARRY: dict[str, Carry] = {
    "save": _save,
    "doubtful": _answer_doubtful,
    "again": _answer_again,
    "later": _answer_later,
    "skip": _skip,
    "unskip": _unskip,
    "ovulated": _ovulated,
    "undo": _undo,
}
