"""Files in and out: choose, check, see every refused row, let the good ones in; export."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from django import forms
from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST
from kombu.exceptions import OperationalError

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.core import clock
from apps.core.errors import DomainError, Missing
from apps.core.exchange import write_csv
from apps.core.uploads import upload_skipped
from apps.dashboards.selectors.exchange import IMPORTERS, importers_of
from apps.dashboards.selectors.export import ANIMAL_HEADERS, RACK_HEADERS, animal_rows, rack_rows
from apps.dashboards.selectors.staged import StagedImport, refused_path, staged_of, staged_read
from apps.dashboards.services import import_confirm, import_stage
from apps.dashboards.tasks import carry_import

SLOW_AFTER_S = 20


class ImportForm(forms.Form):
    """What is in the file, and the file."""

    kind = forms.ChoiceField(label="What is in it")
    file = forms.FileField(label="File", help_text="CSV (UTF-8) or XLSX, at most 50 MB")


def import_form(request: PersonRequest) -> ImportForm:
    """The form with the kinds this person may import."""
    form = ImportForm(request.POST or None, request.FILES or None)
    kinds = [(kind, importer.title) for kind, importer in importers_of(request.user).items()]
    form.fields["kind"] = forms.ChoiceField(label="What is in it", choices=kinds)
    return form


@requires(Permission.IMPORT)
def imports(request: PersonRequest) -> HttpResponse:
    """Choose a file; it is checked first, nothing is written yet."""
    form = import_form(request)
    skipped = upload_skipped(request) if request.method == "POST" else ""
    if skipped:
        form.add_error("file", f"{skipped} is over 50 MB. Split it into smaller files; nothing was written.")
    elif request.method == "POST" and form.is_valid():
        try:
            run = import_stage(by=request.user, kind=form.cleaned_data["kind"], upload=form.cleaned_data["file"])
            carry_import.delay(run.ref)
        except DomainError as error:
            form.add_error(error.field if error.field in form.fields else None, error.message)
        except OperationalError:
            form.add_error(None, "The work queue cannot be reached, so nothing was read. Try again in a minute.")
        else:
            return redirect("dashboards:import", ref=run.ref)
    kinds = [
        {"kind": kind, "title": importer.title, "columns": importer.columns, "has_example": _example(kind).exists()}
        for kind, importer in importers_of(request.user).items()
    ]
    context = {"form": form, "kinds": kinds, "runs": [_shown(run) for run in staged_of(request.user)]}
    return render(request, "dashboards/imports.html", context, status=400 if form.errors else 200)


@requires(Permission.IMPORT)
def import_run(request: PersonRequest, ref: str) -> HttpResponse:
    """How one file fares; the part that changes is fetched again while a worker has it."""
    run = own_run(request, ref)
    waited = (clock.real_now() - run.moment).total_seconds()
    context = {
        **_shown(run),
        "slow": run.state == "waiting" and waited > SLOW_AFTER_S,
        "more_errors": run.refused - len(run.errors),
    }
    template = "dashboards/import_state.html" if request.headers.get("HX-Request") else "dashboards/import.html"
    return render(request, template, context)


@require_POST
@requires(Permission.IMPORT)
def import_write(request: PersonRequest, ref: str) -> HttpResponse:
    """Let the checked file in."""
    run = import_confirm(by=request.user, run=own_run(request, ref))
    carry_import.delay(run.ref)
    return redirect("dashboards:import", ref=run.ref)


@requires(Permission.IMPORT)
def import_refused(request: PersonRequest, ref: str) -> HttpResponse:
    """The refused rows with the reason beside each, to correct and import again."""
    run = own_run(request, ref)
    if not refused_path(run).exists():
        raise Missing("No row of this file was refused.")
    return _file(f"{run.kind}-to-correct.csv", refused_path(run).read_bytes())


@requires(Permission.IMPORT)
def import_example(request: PersonRequest, kind: str) -> HttpResponse:
    """A small file of a kind that can be imported as it is."""
    if kind not in IMPORTERS or not _example(kind).exists():
        raise Http404
    return _file(f"{kind}-example.csv", _example(kind).read_bytes())


@requires(Permission.EXPORT)
def export_animals(request: PersonRequest) -> HttpResponse:
    """Every animal, in the columns an import reads."""
    return _file(f"animals-{clock.today()}.csv", write_csv(ANIMAL_HEADERS, animal_rows()))


@requires(Permission.EXPORT)
def export_places(request: PersonRequest) -> HttpResponse:
    """Every rack, in the columns an import reads."""
    return _file(f"racks-{clock.today()}.csv", write_csv(RACK_HEADERS, rack_rows()))


def own_run(request: PersonRequest, ref: str) -> StagedImport:
    """A staged import of this person; anybody else's is not found."""
    run = staged_read(ref)
    if run is None or run.person != request.user.ref:
        raise Http404
    return run


def _shown(run: StagedImport) -> dict[str, object]:
    return {"run": run, "title": IMPORTERS[run.kind].title if run.kind in IMPORTERS else run.kind}


def _example(kind: str) -> Path:
    return Path(settings.BASE_DIR) / "fixtures" / "examples" / f"{kind}.csv"


def _file(name: str, content: bytes | Iterator[str]) -> HttpResponse:
    response = HttpResponse(content, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
