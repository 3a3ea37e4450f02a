"""Uploads past the bound are thrown away while they arrive, so that no 200 MB file is ever kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from zipfile import BadZipFile, ZipFile

from django.conf import settings
from django.core.files.uploadhandler import FileUploadHandler, SkipFile
from django.http import HttpRequest

from apps.core.errors import TooLarge

UNPACKED_MOST = 400 * 1024 * 1024
SKIPPED = "broodwright.upload_skipped"


class CappedUpload(FileUploadHandler):
    """Stands before Django's own handlers: past the cap the file is skipped, the rest of the form is still read."""

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Count from nothing."""
        super().new_file(*args, **kwargs)
        self.seen = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        """Pass the chunk on, or give the file up and remember its name."""
        self.seen += len(raw_data)
        if self.seen > settings.IMPORT_MAX_BYTES:
            if self.request is not None:
                self.request.META[SKIPPED] = self.file_name or "file"
            raise SkipFile
        return raw_data

    def file_complete(self, file_size: int) -> None:
        """The next handler keeps it."""
        return


def upload_skipped(request: HttpRequest) -> str:
    """The name of a file that was thrown away as too large; "" when none was."""
    return str(request.META.get(SKIPPED, ""))


def check_unpacked(path: Path) -> None:
    """A small XLSX may unpack to gigabytes. Raises TooLarge before anything is unpacked; other files pass."""
    try:
        with ZipFile(path) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
    except BadZipFile:
        return
    if unpacked > UNPACKED_MOST:
        raise TooLarge(f"The file unpacks to {unpacked / 1e6:.0f} MB. Split it.", field="file")
