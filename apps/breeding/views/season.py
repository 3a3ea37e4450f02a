"""The season board and a female's season."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import PersonRequest, check_may, requires
from apps.animals.choices import Sex
from apps.animals.models import Animal
from apps.breeding import services
from apps.breeding.choices import CycleFact, act_word
from apps.breeding.forms import (
    DayForm,
    EndForm,
    LockForm,
    OverrideForm,
    ReasonForm,
    RestForm,
    ScanForm,
    VisitForm,
    WithdrawForm,
    refuse,
)
from apps.breeding.models import Scan, Season, SeasonForecast, Visit
from apps.breeding.pages.beside import beside
from apps.breeding.pages.board import board_page, board_row, read_query
from apps.breeding.pages.female import female_page
from apps.breeding.selectors import current_cycle, season_of
from apps.core import clock
from apps.core.errors import DomainError, Invalid, WrongState
from apps.core.formats import day_text

Act = Callable[[Person, Animal, "Season | None", dict[str, Any], "str | None"], str]


@requires(Permission.READ)
def board(request: PersonRequest) -> HttpResponse:
    """Every female of a season on one page, a hundred rows at a time."""
    page = board_page(read_query(request.GET.dict()))
    part = request.headers.get("HX-Request") and request.headers.get("HX-Target", "").startswith("more")
    context = {"page": page}
    if "beside" in request.GET and page.species is not None:
        return render(
            request, "breeding/board.html", context | {"beside": beside(page.species, page.year, clock.today())}
        )
    return render(request, "breeding/board_rows.html" if part else "breeding/board.html", context)


@requires(Permission.READ)
def board_one(request: PersonRequest, ref: str) -> HttpResponse:
    """One row, opened or closed, swapped in place."""
    query = read_query(request.GET.dict())
    season = get_object_or_404(Season, ref=ref)
    row = board_row(season.ref, opened=request.GET.get("row") == "open", query=query)
    if row is None:
        raise Http404
    return render(request, "breeding/board_row.html", {"row": row, "may_scan": True})


@requires(Permission.READ, write=Permission.READ)
def female(request: PersonRequest, ref: str) -> HttpResponse:
    """A female's season; entries are posted here, each with the right it needs."""
    animal = get_object_or_404(Animal.objects.select_related("species", "tub__rack__room"), ref=ref)
    if animal.sex != Sex.FEMALE:
        raise Http404
    season = _season_asked(animal, request.GET.get("year", ""))
    bound: dict[str, forms.Form] = {}
    if request.method == "POST":
        act = request.POST.get("act", "")
        if act not in ACTS:
            raise Http404
        form_class, right, carry = ACTS[act]
        if right is not None:
            check_may(request.user, right)
        form = form_class(request.POST, auto_id=f"{act}_%s")
        if form.is_valid():
            try:
                done = carry(request.user, animal, season, form.cleaned_data | _hidden(request), _key(request))
            except DomainError as error:
                refuse(form, error)
            else:
                messages.success(request, done)
                return redirect(request.get_full_path())
        bound[act] = form
    page = female_page(animal, season, request.user)
    failures = [str(error) for form in bound.values() for errors in form.errors.values() for error in errors]
    context = {"page": page, "forms": _forms(bound), "failed": next(iter(bound), ""), "failures": failures}
    return render(request, "breeding/female.html", context, status=400 if bound else 200)


@requires(Permission.SCANS_RECORD)
def scan_one(request: PersonRequest, ref: str) -> HttpResponse:
    """The place where a single scan of a female is entered, for links from elsewhere."""
    return redirect(reverse("breeding:female", args=[ref]) + "#scan")


def _season_asked(animal: Animal, year: str) -> Season | None:
    if year:
        found = season_of(animal, int(year)) if year.isdigit() else None
        if found is None:
            raise Http404
        return found
    return season_of(animal) or Season.objects.filter(female=animal).order_by("-year").first()


def _key(request: PersonRequest) -> str | None:
    return request.POST.get("request_key") or None


def _hidden(request: PersonRequest) -> dict[str, Any]:
    return {name: request.POST.get(name, "") for name in ("visit", "scan", "forecast")}


def _forms(bound: dict[str, forms.Form]) -> dict[str, forms.Form]:
    """A fresh form for every act, and the refused one as it was typed."""
    fresh = {
        act: form_class(auto_id=f"{act}_%s", initial={"on": clock.today()}) for act, (form_class, _, _) in ACTS.items()
    }
    return fresh | bound


def _visit(data: dict[str, Any], animal: Animal) -> Visit:
    visit = Visit.objects.filter(ref=data["visit"], female=animal).select_related("male", "female", "season").first()
    if visit is None:
        raise Invalid("There is no such visit of this female. Reload the page.", field="visit")
    return visit


def _scan(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    names = ("mm", "count", "side", "observed_at", "doubtful", "stated_check", "note")
    scan = services.scan_record(by=by, female=animal, request_key=key, **{name: data[name] for name in names})
    return f"{animal.code}: {scan}{', kept as doubtful' if scan.doubtful else ''}."


def _visit_begin(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    visit = services.visit_begin(by=by, female=animal, male=data["male"], began_at=data["began_at"], request_key=key)
    against = f" Recorded against the gate: {visit.against_gate}" if visit.against_gate else ""
    return f"{visit.male.code} is with {animal.code}.{against}"


def _visit_end(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    visit = services.visit_end(by=by, visit=_visit(data, animal), ended_at=data["ended_at"], request_key=key)
    return f"{visit.male.code} is out again."


def _lock(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.lock_record(by=by, visit=_visit(data, animal), seen_at=data["seen_at"], request_key=key)
    return f"{animal.code}: lock recorded."


def _ovulation(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.ovulation_record(by=by, female=animal, on=data["on"], request_key=key)
    return f"{animal.code} ovulated on {day_text(data['on'])}. She is not handled now but for a stated check."


def _shed(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.pre_lay_shed_record(by=by, female=animal, on=data["on"], request_key=key)
    return f"{animal.code}: pre-lay shed on {day_text(data['on'])}."


def _regression(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.regression_record(by=by, female=animal, on=data["on"], request_key=key)
    return f"{animal.code} is recorded as regressed."


def _override(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    row = SeasonForecast.objects.filter(pk=data["forecast"] if data["forecast"].isdigit() else 0, season=season).first()
    if row is None:
        raise WrongState("Her advice changed meanwhile. Reload the page and read it again.")
    services.advice_override(
        by=by,
        forecast=row,
        act=data["act_advised"],
        instead=data["instead"],
        reason=data["reason"],
        request_key=key,
    )
    return f"{animal.code}: “{act_word(data['instead'])}” instead of “{act_word(data['act_advised'])}”."


def _rest(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.season_rest(by=by, season=_open(season), why=data["why"], request_key=key)
    return f"{animal.code} rests this season."


def _reopen(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    found = services.season_open(by=by, female=animal, year=season.year if season else None, request_key=key)
    return f"{animal.code}: season {found.name} is open."


def _close(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.season_close(by=by, season=_open(season), request_key=key)
    return f"{animal.code}: the season is closed."


def _refresh(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    services.forecast_refresh(by=by, season=_open(season))
    return f"{animal.code}: the advice is up to date."


def _withdraw(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    cycle = current_cycle(_open(season))
    if cycle is None:
        raise WrongState("There is nothing to take back.")
    services.cycle_fact_withdraw(
        by=by, cycle=cycle, fact=CycleFact(data["fact"]), reason=data["reason"], request_key=key
    )
    return f"{animal.code}: the {data['fact']} is taken back."


def _strike_scan(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    scan = Scan.objects.filter(ref=data["scan"], animal=animal).select_related("animal__species", "by").first()
    if scan is None:
        raise Invalid("There is no such reading of this female. Reload the page.", field="scan")
    services.scan_strike(by=by, scan=scan, reason=data["reason"], request_key=key)
    return f"{animal.code}: {scan} is struck out."


def _strike_visit(by: Person, animal: Animal, season: Season | None, data: dict[str, Any], key: str | None) -> str:
    visit = services.visit_strike(by=by, visit=_visit(data, animal), reason=data["reason"], request_key=key)
    return f"The visit of {visit.male.code} is struck out."


def _open(season: Season | None) -> Season:
    if season is None:
        raise WrongState("She has no season yet; it opens with her first scan or visit.")
    return season


ACTS: dict[str, tuple[type[forms.Form], Permission | None, Act]] = {
    "scan": (ScanForm, Permission.SCANS_RECORD, _scan),
    "visit": (VisitForm, Permission.VISITS_RECORD, _visit_begin),
    "end": (EndForm, Permission.VISITS_RECORD, _visit_end),
    "lock": (LockForm, Permission.VISITS_RECORD, _lock),
    "ovulation": (DayForm, Permission.SEASONS_EDIT, _ovulation),
    "shed": (DayForm, Permission.SEASONS_EDIT, _shed),
    "regression": (DayForm, Permission.SEASONS_EDIT, _regression),
    "override": (OverrideForm, Permission.SEASONS_EDIT, _override),
    "rest": (RestForm, Permission.SEASONS_EDIT, _rest),
    "reopen": (forms.Form, Permission.SEASONS_EDIT, _reopen),
    "close": (forms.Form, Permission.SEASONS_EDIT, _close),
    "refresh": (forms.Form, None, _refresh),
    "withdraw": (WithdrawForm, Permission.SEASONS_EDIT, _withdraw),
    "strike_scan": (ReasonForm, None, _strike_scan),
    "strike_visit": (ReasonForm, None, _strike_visit),
}
