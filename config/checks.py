"""System checks that stop a start with a hint instead of failing later in the middle of a night."""

from __future__ import annotations

import ctypes.util
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Warning, register


@register()
def pango_there(app_configs: Sequence[Any] | None, **kwargs: object) -> list[CheckMessage]:
    """Papers need Pango."""
    if ctypes.util.find_library("pango-1.0") is None:
        return [
            Warning(
                "Pango is not installed: papers cannot be printed.",
                hint="Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0. macOS: brew install pango.",
                id="broodwright.W001",
            )
        ]
    return []


@register()
def data_folder_writable(app_configs: Sequence[Any] | None, **kwargs: object) -> list[CheckMessage]:
    """Everything that is kept lies in the data folder."""
    folder = Path(settings.DATA_DIR)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        return [Error(f"The data folder {folder} cannot be made: {error}", id="broodwright.E001")]
    if not os.access(folder, os.W_OK):
        return [
            Error(
                f"The data folder {folder} is not writable.",
                hint="Give it to the user that runs Broodwright, or set BROODWRIGHT_DATA to another folder.",
                id="broodwright.E002",
            )
        ]
    return []


@register()
def service_mode_whole(app_configs: Sequence[Any] | None, **kwargs: object) -> list[CheckMessage]:
    """PostgreSQL without Redis (or the other way) is neither mode."""
    if bool(settings.REDIS_URL) != settings.SERVICE_MODE:
        return [
            Warning(
                "Only one of DATABASE_URL and REDIS_URL is set.",
                hint="Service mode sets both; embedded mode sets neither.",
                id="broodwright.W002",
            )
        ]
    return []
