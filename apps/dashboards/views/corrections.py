"""Putting right: what would change is shown first, then one button does it; what was put right can be undone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.models import Correction, Person
from apps.accounts.policies import PersonRequest, requires
from apps.accounts.services import rows_of
from apps.animals.choices import Status
from apps.animals.models import Animal
from apps.animals.selectors import animals
from apps.core.errors import DomainError, Many, NotAllowed, Stale
from apps.dashboards import forms as asked
from apps.dashboards.pages.corrections import acts_for, entries_offered, plan_page, undo_words
from apps.dashboards.selectors.corrections import corrections, corrections_of
from apps.dashboards.services.corrections import acts, records
from apps.dashboards.services.corrections.plan import Plan, Wish, preview
from apps.dashboards.services.corrections.undo import check_undo, correction_undo

Values = dict[str, Any]


@dataclass(frozen=True)
class Act:
    """One correction as a page: its words, what it asks, what it wishes, what does it."""

    title: str
    words: str
    submit: str
    why: str
    form: Callable[[Animal, QueryDict | None], forms.Form]
    wish: Callable[[Person, Animal, Values], Wish]
    run: Callable[[Person, Animal, Values, dict[str, Any]], Correction]
    needs_form: bool = True
    choices: Callable[[Animal, Values], list[tuple[str, str]]] | None = None


def put_right_page(request: PersonRequest, ref: str, act: Act) -> HttpResponse:
    """The question, what it would change, and the button. A stale reading is shown anew (409), never done."""
    animal = get_object_or_404(animals(), ref=ref)
    sent = request.POST if request.method == "POST" else request.GET
    form = act.form(animal, sent if sent or not act.needs_form else None)
    plan: Plan | None = None
    problems: list[str] = []
    choices: list[tuple[str, str, bool]] = []
    code = 200
    if form.is_bound and form.is_valid():
        values = {**form.cleaned_data, "stays": sent.getlist("stays"), "why": sent.get("why", "")[:160]}
        try:
            if request.method == "POST":
                last = {"seen": sent.get("seen", ""), "request_key": sent.get("request_key")}
                done = act.run(request.user, animal, values, last)
                messages.success(request, f"Put right: {done.label}.")
                return redirect("dashboards:correction", ref=done.ref)
        except NotAllowed:
            raise
        except DomainError as error:
            problems, code = words_of(error), 409 if isinstance(error, Stale) else 400
        try:
            plan = preview(by=request.user, wish=act.wish(request.user, animal, values))
        except NotAllowed:
            raise
        except DomainError as error:
            problems = words_of(error)
            code = 400 if request.method == "POST" else 200
        if act.choices is not None:
            # without a plan everything may be ticked; with one, what is left stands here to be taken back
            offered = act.choices(animal, values)
            ticked = set(values["stays"])
            choices = [(key, words, key in ticked) for key, words in offered if plan is None or key in ticked]
    elif request.method == "POST":
        code = 400
    context = {"animal": animal, "act": act, "form": form, "problems": problems, "choices": choices}
    context["why"] = sent.get("why", "")
    return render(request, "dashboards/put_right.html", {**context, **plan_page(plan, sent)}, status=code)


def words_of(error: DomainError) -> list[str]:
    """Every reason, one by one."""
    return [one.message for one in error.errors] if isinstance(error, Many) else [error.message]


@requires(Permission.READ)
def put_right(request: PersonRequest, ref: str) -> HttpResponse:
    """What can be wrong with an animal's records, and what was put right before."""
    animal = get_object_or_404(animals(), ref=ref)
    context = {"animal": animal, "acts": acts_for(animal, request.user), "done": corrections_of(animal)}
    return render(request, "dashboards/put_right_acts.html", context)


SWAP = Act(
    title="Two tubs exchanged",
    words="What was recorded of each since then goes to the other, and both stand where they really are.",
    submit="Put both right",
    why="found by weight at the scan of 5 April",
    form=lambda animal, sent: asked.SwapForm(sent),
    wish=lambda by, animal, v: acts.swap_wish(
        by=by, first=animal, second=v["second"], since=v["since"], put_back=v["put_back"], stays=v["stays"]
    ),
    run=lambda by, animal, v, last: acts.tubs_swap(
        by=by,
        first=animal,
        second=v["second"],
        since=v["since"],
        put_back=v["put_back"],
        stays=v["stays"],
        why=v["why"],
        **last,
    ),
    choices=lambda animal, v: acts.swap_choices(animal, v["second"], v["since"]),
)
FACTS = Act(
    title="Entries on the wrong animal",
    words="Each is struck out here and entered again where it belongs, with its author and moment.",
    submit="Move them",
    why="read the wrong card",
    form=lambda animal, sent: asked.FactsForm(sent, entries=entries_offered(animal)),
    wish=lambda by, animal, v: acts.facts_wish(by=by, animal=animal, to=v["second"], keys=v["facts"]),
    run=lambda by, animal, v, last: acts.facts_move(
        by=by, animal=animal, to=v["second"], keys=v["facts"], why=v["why"], **last
    ),
)
MERGE = Act(
    title="Recorded twice",
    words="One record lives on with everything of both; the other code stays as another name of it.",
    submit="Make it one record",
    why="the same animal on both photographs",
    form=lambda animal, sent: asked.MergeForm(sent),
    wish=lambda by, animal, v: records.merge_wish(by=by, kept=animal, gone=v["second"]),
    run=lambda by, animal, v, last: records.records_merge(by=by, kept=animal, gone=v["second"], why=v["why"], **last),
)
MISSING = Act(
    title="Not in its tub",
    words="An alarm stands until it is found. Close the room's doors and tell everybody in it first.",
    submit="Report it missing",
    why="its tub is empty",
    form=lambda animal, sent: asked.MissingForm(sent or {}),
    wish=lambda by, animal, v: records.missing_wish(by=by, animal=animal),
    run=lambda by, animal, v, last: records.animal_missing(by=by, animal=animal, why=v["why"], **last),
    needs_form=False,
)
FOUND = Act(
    title="Found again",
    words="Check its card, its weight and its look before you put it anywhere. Its alarm ends.",
    submit="It is found",
    why="behind rack C",
    form=lambda animal, sent: asked.FoundForm(sent, initial={"tub": animal.tub.label if animal.tub else ""}),
    wish=lambda by, animal, v: records.found_wish(by=by, animal=animal, tub=v["tub"], where=v["why"]),
    run=lambda by, animal, v, last: records.animal_found(by=by, animal=animal, tub=v["tub"], where=v["why"], **last),
)


def _sire_of(animal: Animal, v: Values) -> dict[str, Any]:
    """A whole brood, or this animal alone."""
    whole = {"brood": animal.brood} if v["whole_brood"] and animal.brood is not None else {"animals": [animal]}
    return {"sire": v["second"], "why": v["why"], **whole}


SIRE = Act(
    title="Wrong sire",
    words="The right one is recorded, and what was sold, offered or printed under the wrong one is listed.",
    submit="Set the right sire",
    why="two of its clutch are Clown",
    form=lambda animal, sent: asked.SireForm(sent, initial={"whole_brood": animal.brood_id is not None}),
    wish=lambda by, animal, v: records.sire_wish(by=by, **_sire_of(animal, v)),
    run=lambda by, animal, v, last: records.sire_correct(by=by, **_sire_of(animal, v), **last),
)


@requires(Permission.ANIMALS_MOVE)
def swap(request: PersonRequest, ref: str) -> HttpResponse:
    """Two tubs were exchanged."""
    return put_right_page(request, ref, SWAP)


@requires(Permission.ANIMALS_MOVE)
def missing(request: PersonRequest, ref: str) -> HttpResponse:
    """It is not in its tub, or it was found again."""
    animal = get_object_or_404(animals(), ref=ref)
    return put_right_page(request, ref, FOUND if animal.status == Status.MISSING else MISSING)


@requires(Permission.STRIKE_OWN)
def facts(request: PersonRequest, ref: str) -> HttpResponse:
    """Entries that are another animal's."""
    return put_right_page(request, ref, FACTS)


@requires(Permission.ANIMALS_MERGE)
def merge(request: PersonRequest, ref: str) -> HttpResponse:
    """The same animal recorded twice."""
    return put_right_page(request, ref, MERGE)


@requires(Permission.ANIMALS_EDIT)
def sire(request: PersonRequest, ref: str) -> HttpResponse:
    """The recorded sire is wrong."""
    return put_right_page(request, ref, SIRE)


@requires(Permission.READ)
def correction_list(request: PersonRequest) -> HttpResponse:
    """What was put right, newest first."""
    return render(request, "dashboards/corrections.html", {"rows": corrections()[:100]})


@requires(Permission.READ)
def correction(request: PersonRequest, ref: str) -> HttpResponse:
    """One correction: why, and how many rows of which table it changed."""
    found = get_object_or_404(corrections(), ref=ref)
    return render(request, "dashboards/correction.html", _correction(found, request.user))


@require_POST
@requires(Permission.READ)
def undo(request: PersonRequest, ref: str) -> HttpResponse:
    """Take it back; refused by naming what was changed since."""
    found = get_object_or_404(corrections(), ref=ref)
    check_undo(request.user, found)
    try:
        correction_undo(by=request.user, correction=found, request_key=request.POST.get("request_key"))
    except DomainError as error:
        context = {**_correction(found, request.user), "problems": words_of(error)}
        return render(request, "dashboards/correction.html", context, status=error.status)
    messages.success(request, f"Undone: {found.label}. Every row is as it was.")
    return redirect("dashboards:correction", ref=ref)


def _correction(found: Correction, person: Person) -> dict[str, Any]:
    try:
        check_undo(person, found)
        may_undo = found.undone_at is None
    except NotAllowed:
        may_undo = False
    whom = Animal.objects.filter(ref__in=found.asked.get("animals", [])).order_by("code_key")
    return {"row": found, "animals": whom, "counts": undo_words(rows_of(found)), "may_undo": may_undo}
