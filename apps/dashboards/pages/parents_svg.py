"""Parents and grandparents of one animal as a small pedigree: square corners male, round female, dashed dead."""

from __future__ import annotations

from dataclasses import dataclass

from apps.core import svg

BOX_W, BOX_H, GAP_X, ROW = 104.0, 34.0, 18.0, 40.0
WIDTH = 3 * BOX_W + 2 * GAP_X
HEIGHT = 4 * ROW


@dataclass(frozen=True, slots=True)
class Ancestor:
    """One box; ``ref`` links it. An unknown parent is None."""

    code: str
    traits: str
    sex: str
    ref: str
    is_dead: bool = False
    dam: Ancestor | None = None
    sire: Ancestor | None = None


def parents_svg(animal: Ancestor, *, paper: bool = False) -> str:
    """The picture; an ancestor that stands in it twice is drawn in accent, an unknown parent dotted."""
    places: list[tuple[Ancestor | None, str, int, float]] = [(animal, "self", 0, HEIGHT / 2)]
    for number, (parent, word) in enumerate(((animal.sire, "sire"), (animal.dam, "dam"))):
        y = HEIGHT * (0.25 + 0.5 * number)
        places.append((parent, word, 1, y))
        if parent is not None:
            places.append((parent.sire, "sire", 2, y - ROW / 2))
            places.append((parent.dam, "dam", 2, y + ROW / 2))
    refs = [one.ref for one, _, _, _ in places if one is not None]
    twice = {ref for ref in refs if refs.count(ref) > 1}
    body: list[str] = []
    for number, parent in enumerate((animal.sire, animal.dam)):
        y = HEIGHT * (0.25 + 0.5 * number)
        body.append(_joint(0, HEIGHT / 2, y))
        if parent is not None:
            body += [_joint(1, y, y - ROW / 2), _joint(1, y, y + ROW / 2)]
    body += [_box(one, word, column, y, one is not None and one.ref in twice) for one, word, column, y in places]
    known = [f"{word} {one.code}" for one, word, column, _ in places if one is not None and column == 1]
    desc = f"Parents of {animal.code}: {', '.join(known) or 'not known'}."
    if twice:
        names = sorted({one.code for one, _, _, _ in places if one is not None and one.ref in twice})
        desc += f" Twice in the picture: {', '.join(names)}."
    picture = svg.picture(WIDTH, HEIGHT, body, title="Lineage, two generations", desc=desc, cls="parents", paper=paper)
    # a picture with links in it is a group: a reader must be able to reach them
    return picture.replace('role="img"', 'role="group"', 1)


def _left(column: int) -> float:
    return column * (BOX_W + GAP_X)


def _joint(column: int, y: float, to_y: float) -> str:
    start = _left(column) + BOX_W
    middle = start + GAP_X / 2
    return svg.path([(start, y), (middle, y), (middle, to_y), (start + GAP_X, to_y)], "l-quiet")


def _box(one: Ancestor | None, word: str, column: int, y: float, needs: bool) -> str:
    x, top = _left(column), y - BOX_H / 2
    if one is None:
        frame = svg.rect(x + 0.5, top + 0.5, BOX_W - 1, BOX_H - 1, "f-none l-quiet l-dots")
        return frame + svg.text(x + 8, y + 4, f"{word} not known")
    main = column == 0
    fill = "f-ink" if main else "f-wash" if needs else "f-sheet"
    line = "l-needs" if needs else "l-ink"
    radius = 9.0 if one.sex == "female" else 0.0
    dashed = " l-dash" if one.is_dead else ""
    shape = svg.rect(x + 0.75, top + 0.75, BOX_W - 1.5, BOX_H - 1.5, fill, radius=radius)
    shape += svg.rect(x + 0.75, top + 0.75, BOX_W - 1.5, BOX_H - 1.5, f"{line}{dashed}", radius=radius)
    ink = "t-on-ink" if main else "t-needs" if needs else "t-ink t-bold"
    words = svg.text(x + 8, top + 14, _short(one.code, 15), ink)
    traits = "normal" if not one.traits else one.traits
    words += svg.text(x + 8, top + 27, _short(traits, 17), "t-on-ink t-10" if main else "t-second t-10")
    spoken = f"{word if not main else 'this animal'}: {one.code}, {traits}, {one.sex}{', dead' if one.is_dead else ''}"
    if main:
        return f"<g><title>{svg.esc(spoken)}</title>{shape}{words}</g>"
    return f'<a href="/animals/{svg.esc(one.ref)}/" aria-label="{svg.esc(spoken)}">{shape}{words}</a>'


def _short(words: str, longest: int) -> str:
    return words if len(words) <= longest else f"{words[: longest - 1]}…"
