"""The small bar of a window cell: the green band and the animal's expected lowest to highest temperature."""

from __future__ import annotations

from apps.core import svg

WIDTH, HEIGHT = 12.0, 15.0
LOW_C, HIGH_C = 12.0, 34.0  # ends of the drawn scale; what lies beyond is drawn at the end with a notch
BAR = 4.0


def window_cell_svg(*, lowest_c: float, highest_c: float, band_c: tuple[float, float], paper: bool = False) -> str:
    """12 x 15 px. The cell's words carry verdict, chance and worst temperature, so the picture itself is decoration."""
    y = svg.Linear(LOW_C, HIGH_C, HEIGHT, 0.0)
    top, foot = y(highest_c), y(lowest_c)
    if foot - top < 1.5:
        middle = min(max((top + foot) / 2, 0.75), HEIGHT - 0.75)
        top, foot = middle - 0.75, middle + 0.75
    body = [
        svg.rect(0, 0, WIDTH, HEIGHT, "f-sunk"),
        svg.rect(0, y(band_c[1]), WIDTH, y(band_c[0]) - y(band_c[1]), "f-print-3"),
        svg.rect((WIDTH - BAR) / 2, top, BAR, foot - top, "f-ink"),
    ]
    if lowest_c < LOW_C:
        body.append(svg.line(1, HEIGHT - 0.5, WIDTH - 1, HEIGHT - 0.5, "l-ink"))
    if highest_c > HIGH_C:
        body.append(svg.line(1, 0.5, WIDTH - 1, 0.5, "l-ink"))
    return svg.picture(WIDTH, HEIGHT, body, title="", cls="window-bar", paper=paper)
