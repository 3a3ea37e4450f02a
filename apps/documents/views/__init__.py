"""The download of a document."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from apps.accounts.choices import Permission
from apps.accounts.policies import PersonRequest, requires
from apps.documents.models import Document
from apps.documents.policies import check_may_read
from apps.documents.selectors import document_bytes

SHOWN_IN_PAGE = frozenset({"application/pdf", "image/jpeg", "image/png"})


@requires(Permission.READ)
def document(request: PersonRequest, ref: str) -> HttpResponse:
    """The file: shown where a browser can, kept under its own name with ``?save=1``."""
    found = get_object_or_404(Document, ref=ref)
    check_may_read(request.user, found)
    response = HttpResponse(document_bytes(found), content_type=found.mime)
    inline = found.mime in SHOWN_IN_PAGE and "save" not in request.GET
    how = "inline" if inline else "attachment"
    response["Content-Disposition"] = f'{how}; filename="{found.filename}"'
    # the bytes of a ref never change; only this browser may keep them
    response["Cache-Control"] = "private, max-age=3600"
    return response
