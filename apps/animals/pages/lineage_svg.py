"""The pedigree above one animal: square corners male, round female, dashed dead; looks, and beliefs as bars."""

from __future__ import annotations

from dataclasses import dataclass

from apps.core import svg

BOX_W, GAP_X, LEVEL, LINE = 150.0, 14.0, 40.0, 15.0
PAD = 8.0
SHOWN = 3


@dataclass(frozen=True, slots=True)
class Bar:
    """One belief: `chance` now, `before` as a thin line."""

    word: str
    chance: float
    before: float | None = None


@dataclass(frozen=True, slots=True)
class Box:
    """One animal of the chart; parents that are not known are None."""

    code: str
    look: str
    sex: str
    ref: str
    beside: str = ""
    is_dead: bool = False
    bars: tuple[Bar, ...] = ()
    dam: Box | None = None
    sire: Box | None = None


def lineage_svg(animal: Box, generations: int, *, paper: bool = False, zoom: float = 1.0) -> str:
    """The picture, the animal at the foot and its forebears above; one that stands in it twice is drawn in accent.

    `zoom` scales it whole.
    """
    levels: list[list[Box | None]] = [[animal]]
    for _ in range(generations):
        levels.append([parent for one in levels[-1] for parent in ((one.sire, one.dam) if one else (None, None))])
        if not any(levels[-1]):
            levels.pop()
            break
    refs = [one.ref for level in levels for one in level if one is not None]
    twice = {ref for ref in refs if refs.count(ref) > 1}
    width = len(levels[-1]) * (BOX_W + GAP_X)
    heights = [max((_height(one) for one in level if one), default=30.0) for level in levels]
    tops: list[float] = []
    y = 2.0
    for height in reversed(heights):
        tops.insert(0, y)
        y += height + LEVEL
    body: list[str] = []
    for depth, level in enumerate(levels):
        step = width / len(level)
        for place, one in enumerate(level):
            if one is None:
                continue
            x = step * (place + 0.5)
            if depth:
                half = step if place % 2 == 0 else -step
                joint = tops[depth] + heights[depth] + LEVEL / 2
                to_x = x + half / 2
                line = "l-needs" if one.ref in twice else "l-ink"
                start = tops[depth] + _height(one)
                body.append(svg.path([(x, start), (x, joint), (to_x, joint), (to_x, tops[depth - 1])], line))
    for depth, level in enumerate(levels):
        step = width / len(level)
        body += [
            _box(one, step * (place + 0.5) - BOX_W / 2, tops[depth], depth == 0, one.ref in twice)
            for place, one in enumerate(level)
            if one is not None
        ]
    desc = f"Forebears of {animal.code}, {len(levels) - 1} generations, {len(set(refs)) - 1} animals."
    if twice:
        desc += (
            " More than once: " + ", ".join(sorted({o.code for lv in levels for o in lv if o and o.ref in twice})) + "."
        )
    picture = svg.picture(width, y, body, title=f"Lineage of {animal.code}", desc=desc, cls="lineage", paper=paper)
    if zoom != 1.0:
        drawn = f'width="{svg.num(width)}" height="{svg.num(y)}"'
        picture = picture.replace(drawn, f'width="{svg.num(width * zoom)}" height="{svg.num(y * zoom)}"', 1)
    return picture.replace('role="img"', 'role="group"', 1)


def _height(one: Box) -> float:
    return 38.0 + LINE * min(SHOWN, len(one.bars))


def _box(one: Box, x: float, top: float, main: bool, needs: bool) -> str:
    height = _height(one)
    radius = 10.0 if one.sex == "female" else 0.0
    fill = "f-ink" if main else "f-wash" if needs else "f-sheet"
    line = ("l-needs" if needs else "l-ink") + (" l-dash" if one.is_dead else "")
    shape = svg.rect(x + 1, top + 1, BOX_W - 2, height - 2, fill, radius=radius)
    shape += svg.rect(x + 1, top + 1, BOX_W - 2, height - 2, line, radius=radius)
    strong, plain = ("t-on-ink", "t-on-ink t-10") if main else ("t-ink t-bold", "t-second t-10")
    words = svg.text(x + PAD, top + 16, _short(one.code, 14), "t-needs" if needs and not main else strong)
    if one.beside:
        words += svg.text(x + BOX_W - PAD, top + 16, _short(one.beside, 9), plain, anchor="end")
    words += svg.text(x + PAD, top + 30, _short(one.look or "normal", 25), plain)
    spoken = f"{one.code}, {one.look or 'normal'}, {one.sex}{', dead' if one.is_dead else ''}"
    for number, bar in enumerate(one.bars[:SHOWN]):
        words += _bar(bar, x, top + 44 + LINE * number, plain, main)
        spoken += f", {bar.word} {_percent(bar.chance)}"
    if main:
        return f"<g><title>{svg.esc(spoken)}</title>{shape}{words}</g>"
    return f'<a href="/animals/{svg.esc(one.ref)}/lineage/" aria-label="{svg.esc(spoken)}">{shape}{words}</a>'


def _bar(bar: Bar, x: float, y: float, cls: str, main: bool) -> str:
    left, wide = x + 76, 34.0
    made = svg.text(x + PAD, y, _short(bar.word, 12), cls)
    made += svg.rect(left, y - 6, wide, 5, "f-print-3")
    made += svg.rect(left, y - 6, wide * bar.chance, 5, "f-sheet" if main else "f-ink")
    if bar.before is not None:
        mark = left + wide * bar.before
        made += svg.path([(mark, y - 9), (mark, y + 1)], "l-print")
    return made + svg.text(x + BOX_W - PAD, y, _percent(bar.chance), cls, anchor="end")


def _percent(chance: float) -> str:
    """Whole percent; 0 and 100 only when certain."""
    if 0 < chance < 1:
        return f"{min(99, max(1, round(chance * 100)))} %"
    return f"{chance * 100:.0f} %"


def _short(words: str, longest: int) -> str:
    return words if len(words) <= longest else f"{words[: longest - 1]}…"
