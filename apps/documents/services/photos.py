"""Photographs: bounded, and re-encoded so that nothing but pixels is kept (no position, no payload)."""

from __future__ import annotations

import io

from django.conf import settings
from PIL import Image, ImageOps, UnidentifiedImageError

from apps.core.errors import Invalid, TooLarge

MAX_SIDE = 2400
MAX_PIXELS = 60_000_000


def photo_clean(content: bytes) -> bytes:
    """The photograph as a fresh JPEG of at most 2,400 px a side. Raises TooLarge, Invalid naming ``photo``."""
    if len(content) > settings.UPLOAD_MAX_BYTES:
        raise TooLarge("The photograph is over 20 MB. Take it at a smaller size.", field="photo")
    try:
        with Image.open(io.BytesIO(content)) as image:
            if image.format not in {"JPEG", "PNG", "WEBP"}:
                raise Invalid("A photograph is a JPEG, PNG or WebP file.", field="photo")
            if image.width * image.height > MAX_PIXELS:
                raise TooLarge("The photograph has over 60 million pixels. Take it at a smaller size.", field="photo")
            turned = ImageOps.exif_transpose(image).convert("RGB")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError):
        raise Invalid("This is not a photograph that can be read. Use JPEG, PNG or WebP.", field="photo") from None
    turned.thumbnail((MAX_SIDE, MAX_SIDE))
    out = io.BytesIO()
    turned.save(out, "JPEG", quality=85)
    return out.getvalue()
