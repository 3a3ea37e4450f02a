"""Keeping a file under the hash of its content."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable

from django.conf import settings

from apps.accounts.models import Person
from apps.accounts.services import audit_write, service
from apps.core import clock
from apps.core.errors import Invalid, TooLarge
from apps.documents.models import Document
from apps.documents.selectors import document_path


@service("document.store")
def document_store(
    *,
    by: Person,
    kind: str,
    subject_kind: str,
    subject_ref: str,
    label: str,
    content: bytes,
    mime: str,
    filename: str,
    request_key: str | None = None,
) -> Document:
    """Keep a file. The same bytes for the same subject and kind give the row that is there already."""
    if not content:
        raise Invalid("The file is empty.", field="file")
    if len(content) > settings.UPLOAD_MAX_BYTES:
        raise TooLarge("The file is over 20 MB. Make it smaller.", field="file")
    sha256 = hashlib.sha256(content).hexdigest()
    same = Document.objects.filter(
        kind=kind, subject_kind=subject_kind, subject_ref=subject_ref, sha256=sha256, voided_at__isnull=True
    ).first()
    if same is not None:
        return same
    _write(sha256, content)
    document = Document.objects.create(
        kind=kind,
        subject_kind=subject_kind,
        subject_ref=subject_ref,
        label=label[:120],
        sha256=sha256,
        size=len(content),
        mime=mime,
        filename=filename[:120],
        made_at=clock.now(),
        by=by,
    )
    audit_write(by=by, act="document.store", subject=document, detail={"sha256": sha256})
    return document


@service("document.void")
def document_void(*, by: Person, document: Document, reason: str, request_key: str | None = None) -> Document:
    """A paper that no longer holds (its parcel changed); it stays readable, marked void."""
    Document.objects.filter(pk=document.pk, voided_at__isnull=True).update(
        voided_at=clock.now(), voided_reason=reason[:120]
    )
    audit_write(by=by, act="document.void", subject=document, detail={"reason": reason})
    return Document.objects.get(pk=document.pk)


def documents_rehome(*, documents: Iterable[Document], subject_ref: str) -> None:
    """The papers and photographs turn out to be of another thing of the same kind; part of a correction."""
    Document.objects.filter(pk__in=[document.pk for document in documents]).update(subject_ref=subject_ref)


def _write(sha256: str, content: bytes) -> None:
    path = document_path(sha256)
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{sha256}.{os.getpid()}.part")
    with part.open("wb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())
    # a rename is all or nothing: a reader never sees half a paper
    part.replace(path)
