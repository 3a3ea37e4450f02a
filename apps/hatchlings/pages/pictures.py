"""Small pictures of the hatch room: an egg as it stands, a bar of odds with a thin line for what was held before."""

from __future__ import annotations

from apps.core import svg
from apps.incubation.choices import EggState

EGG_W, EGG_H = 52.0, 66.0


def egg_svg(number: int, state: str) -> str:
    """An egg: whole, slit open, broken, a slug, given up. The words stand beside it, so it is decoration."""
    middle = EGG_W / 2
    if state == EggState.HATCHED:
        rim = [(6.0, 24.0), (13.0, 33.0), (19.0, 25.0), (26.0, 34.0), (33.0, 25.0), (39.0, 33.0), (46.0, 24.0)]
        shell = " ".join(f"{x:g} {y:g}" for x, y in rim)
        body = [f'<path class="egg-line f-sheet" d="M{shell}C52 46 44 64 26 64C8 64 0 46 6 24z"/>']
    elif state == EggState.SLUG:
        body = [f'<ellipse class="egg-line egg-slug" cx="{middle:g}" cy="36" rx="16" ry="20"/>']
    else:
        body = [f'<ellipse class="egg-line f-sheet" cx="{middle:g}" cy="33" rx="24" ry="31"/>']
    if state == EggState.PIPPING:
        body.append('<path class="f-ink" d="M14 17Q26 8 38 17Q26 22 14 17z"/>')
    if state in {EggState.FAILED, EggState.LEFT}:
        body.append('<path class="egg-line f-none" d="M8 56L44 10"/>')
    body.append(svg.text(middle, 45, number, "t-ink t-bold t-13", anchor="middle"))
    return svg.picture(EGG_W, EGG_H, body, title="")


def odds_svg(share: float | None, before: float | None = None) -> str:
    """A bar from 0 to 1; a thin line where it stood before. The percentage stands beside it."""
    body = [svg.rect(0, 0, 100, 10, "f-print-4")]
    if share:
        body.append(svg.rect(0, 0, max(share * 100, 0.8), 10, "f-ink"))
    body.append(svg.line(0, 10, 100, 10, "l-print"))
    if before is not None:
        body.append(svg.rect(min(before * 100, 98.8), -1, 1.2, 12, "f-print"))
    return svg.picture(100, 10, body, title="", cls="bar").replace("<svg ", '<svg preserveAspectRatio="none" ', 1)
