"""A printed page as a picture, the way a camera would see it."""

from __future__ import annotations

import io
import subprocess

from PIL import Image


def page_image(pdf: bytes, number: int, dpi: int = 300) -> Image.Image:
    """One page (counted from 0) as an image, drawn by Poppler."""
    page = str(number + 1)
    drawn = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-f", page, "-l", page, "-png", "-"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    return Image.open(io.BytesIO(drawn.stdout)).convert("RGB")
