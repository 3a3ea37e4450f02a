"""Pages of what devices keep while the link is gone: what waits on this one, what waits for a decision, the worker."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

import orjson
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles import finders
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.templatetags.static import static
from django.views.decorators.http import require_POST

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.care.choices import KeptDecision
from apps.care.policies import check_decide
from apps.care.selectors.kept import kept_entries, undecided
from apps.care.services import kept_entry_decide
from apps.core import clock
from apps.core.errors import DomainError, Invalid, TooLarge
from apps.dashboards.api.offline import MOST_ENTRIES, EntriesIn
from apps.dashboards.forms import DecisionForm
from apps.dashboards.services import Answer, Entry, kept_entry_record, observations_take

FILE_MOST = settings.UPLOAD_MAX_BYTES
A_PAGE = 50
# what the worker keeps of the shell: by the name that a page loads them by
SHELL = (
    "core/css/fonts.css",
    "core/css/tokens.css",
    "core/css/base.css",
    "core/css/parts.css",
    "core/css/pictures.css",
    "core/css/print.css",
    "core/icons/mark.svg",
    "core/js/shell.js",
    "core/js/observations.js",
    "core/js/waiting.js",
    "core/js/lock.js",
    "core/js/scan_label.js",
    "care/care.css",
    "care/rack.js",
    "fonts/AtkinsonHyperlegible-Regular.ttf",
    "fonts/AtkinsonHyperlegible-Bold.ttf",
)
# modules that others import by their plain name
PLAIN = ("core/js/queue.js", "core/js/picture.js")


@requires(Permission.READ, write=Permission.CARE_RECORD)
def waiting(request: PersonRequest) -> HttpResponse:
    """What waits on this device (its own script lists it); a file of such entries can be given to the server here."""
    answers: list[Answer] = []
    refused = ""
    if request.method == "POST":
        try:
            entries = _entries_of(request)
            answers = observations_take(by=request.user, entries=entries, device_now=clock.real_now())
        except DomainError as error:
            refused = error.message
    context = {"answers": answers, "refused": refused, "kept_count": undecided().count()}
    return render(request, "dashboards/waiting.html", context, status=400 if refused else 200)


def _entries_of(request: HttpRequest) -> list[Entry]:
    """The entries of an uploaded file. Raises Invalid or TooLarge naming ``file`` with what to do."""
    given = request.FILES.get("file")
    if given is None:
        raise Invalid("Choose the file that the device saved.", field="file")
    if given.size is None or given.size > FILE_MOST:
        raise TooLarge("A file that a device saved is below 20 MB. This is another file.", field="file")
    try:
        found = orjson.loads(given.read())["entries"]
        if not isinstance(found, list):
            raise TypeError
    except (orjson.JSONDecodeError, KeyError, TypeError):
        raise Invalid("This is no file of waiting entries. Take the one that the device saved.", field="file") from None
    entries: list[Entry] = []
    for start in range(0, len(found), MOST_ENTRIES):
        part = {"device_now": clock.real_now().isoformat(), "entries": found[start : start + MOST_ENTRIES]}
        reader = EntriesIn(data=part)
        if not reader.is_valid():
            raise Invalid("An entry of this file cannot be read. Nothing of it was recorded.", field="file")
        entries += [Entry(**dict(one)) for one in reader.validated_data["entries"]]
    if not entries:
        raise Invalid("There is no entry in this file.", field="file")
    return entries


@requires(Permission.READ)
def kept(request: PersonRequest) -> HttpResponse:
    """Entries that wait for a decision, and those that had one."""
    return _kept(request, DecisionForm())


def _kept(request: PersonRequest, form: DecisionForm, wrong: str = "", status: int = 200) -> HttpResponse:
    page = Paginator(kept_entries(), A_PAGE).get_page(request.GET.get("page"))
    rows = [(entry, _may_decide(request, entry)) for entry in page]
    context = {"page": page, "rows": rows, "form": form, "wrong": wrong, "open_count": undecided().count()}
    return render(request, "dashboards/kept.html", context, status=status)


def _may_decide(request: PersonRequest, entry: object) -> bool:
    try:
        check_decide(request.user, entry)  # type: ignore[arg-type]
    except DomainError:
        return False
    return True


@require_POST
@requires(Permission.CARE_RECORD)
def kept_decide(request: PersonRequest, ref: str) -> HttpResponse:
    """Record it all the same, or discard it with a reason."""
    entry = get_object_or_404(kept_entries(), ref=ref)
    form = DecisionForm(request.POST)
    if not form.is_valid():
        return _kept(request, form, entry.ref, 400)
    note, key = form.cleaned_data["note"], request.POST.get("request_key")
    try:
        if request.POST.get("decision") == KeptDecision.RECORDED:
            kept_entry_record(by=request.user, entry=entry, note=note, request_key=key)
        else:
            kept_entry_decide(by=request.user, entry=entry, decision=KeptDecision.DISCARDED, note=note, request_key=key)
    except DomainError as error:
        form.add_error(None, error.message)
        return _kept(request, form, entry.ref, 400)
    words = "recorded" if request.POST.get("decision") == KeptDecision.RECORDED else "discarded"
    messages.success(request, f"{entry.animal.code}: {words}.")
    return redirect("dashboards:kept")


@lru_cache(maxsize=1)
def worker_text() -> str:
    """The service worker with the addresses of what it keeps."""
    files = [*(static(name) for name in SHELL), *(f"{settings.STATIC_URL}{name}" for name in PLAIN)]
    path = finders.find("core/js/worker.js")
    assert isinstance(path, str), "core/js/worker.js is part of the package"
    text = Path(path).read_text(encoding="utf-8")
    version = hashlib.sha256((text + "".join(files)).encode()).hexdigest()[:12]
    return text.replace("__FILES__", orjson.dumps(files).decode()).replace("__VERSION__", version)


@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the root so that it may answer for every page. It holds nothing of anybody."""
    response = HttpResponse(worker_text(), content_type="text/javascript")
    response["Cache-Control"] = "no-cache"
    return response
