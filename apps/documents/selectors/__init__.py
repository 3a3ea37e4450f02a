"""Reads of documents."""

from __future__ import annotations

import os
from pathlib import Path

from django.conf import settings
from django.db.models import QuerySet

from apps.core.errors import Missing
from apps.documents.models import Document


def documents_of(subject_kind: str, subject_ref: str) -> QuerySet[Document]:
    """The papers of one thing, newest first."""
    return Document.objects.filter(subject_kind=subject_kind, subject_ref=subject_ref).order_by("-made_at", "-pk")


def document_path(sha256: str) -> Path:
    """Where the bytes of a document lie."""
    return Path(settings.DOCUMENT_DIR) / sha256[:2] / sha256


def document_bytes(document: Document) -> bytes:
    """The content. Raises Missing when the file is gone (restore it from the backup)."""
    path = document_path(document.sha256)
    if not path.exists():
        raise Missing(f"The file of “{document.label}” is missing from the data folder. Restore it from the backup.")
    return path.read_bytes()


def documents_writable() -> bool:
    """Whether papers can be kept: the folder is there (or can be made) and may be written."""
    folder = Path(settings.DOCUMENT_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    return os.access(folder, os.W_OK)
