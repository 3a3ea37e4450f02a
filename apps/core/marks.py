"""The shapes that stand with every state word: drawn in a 14-unit box in the colour of the text beside them.

Shape repeats what the word says, so nothing is told by colour alone and everything survives a black printer. Cut-outs
are real holes, so a mark may stand on any ground.
"""

from __future__ import annotations

_O = 'fill="none" stroke="currentColor" stroke-width="1.6"'
_F = 'fill="currentColor"'
_H = 'fill="currentColor" fill-rule="evenodd"'


def _open(d: str, width: str = "1.6") -> str:
    return f'<path fill="none" stroke="currentColor" stroke-width="{width}" d="{d}"/>'


def _solid(d: str) -> str:
    return f'<path {_H} d="{d}"/>'


_SQUARE = f'<rect {_O} x="1.4" y="1.4" width="11.2" height="11.2"/>'
_DOTTED_SQUARE = f'<rect {_O} stroke-dasharray="2.2 1.53" x="1.4" y="1.4" width="11.2" height="11.2"/>'
_RING = f'<circle {_O} cx="7" cy="7" r="5.4"/>'
_EGG = _open("M7 1.2c2.6 0 4.6 3.3 4.6 6.3 0 3-2 5.1-4.6 5.1S2.4 10.5 2.4 7.5c0-3 2-6.3 4.6-6.3z", "1.5")
_TAG = "M1.4 4.4L7 1.2l5.6 3.2v8.2H1.4z"
_PARCEL = _open("M1.4 3.4h11.2v9.2H1.4zM1.4 6.4h11.2M7 3.4v3", "1.5")
_TUB = _open("M1.2 3.2h11.6M2.2 3.2v9.2h9.6V3.2", "1.6")
_TICK = _open("M1.4 7.4l3.8 4L12.8 2.6", "2")
_CROSS = _SQUARE + _open("M4.2 4.2l5.6 5.6M9.8 4.2L4.2 9.8")
_NO = _SQUARE + _open("M1.6 12.4L12.4 1.6")
_DONE = _SQUARE + _open("M3.8 7.2l2.4 2.4 4-5")
_HALF_SQUARE = _SQUARE + _solid("M1.4 7h11.2v5.6H1.4z")
_BARS = _solid("M2.4 1.4h3v11.2h-3zM8.6 1.4h3v11.2h-3z")
_DASHED = _open("M0 7h14").replace("/>", ' stroke-dasharray="2 2"/>')
_GO = _solid("M2 .8L13.4 7 2 13.2z")
_ALARM = _solid("M7 .4l6.9 12.8H.1zM6.2 5v4.2h1.6V5zM6.2 10.4v1.6h1.6v-1.6z")
_LAID = f'<ellipse {_O} cx="3.8" cy="6.6" rx="3" ry="4"/><ellipse {_O} cx="10.4" cy="6.6" rx="3" ry="4"/>' + _open(
    "M0 12.9h14"
)
_SLASHED_RING = _RING + _open("M3.2 10.8l7.6-7.6")
_OUT = _open("M7.6 1.6H1.6v10.8h6M5 7h8M10.2 4L13 7l-2.8 3")
_REGRESSING = _open("M1.4 2.6h11.2L7 12.4z")
_RESTING = _open("M1 7h12", "2.4")
_EMPTY_CIRCLE = f'<circle {_O} cx="7" cy="7" r="4"/>'
_HALF_CIRCLE = _RING + _solid("M1.6 7a5.4 5.4 0 0 0 10.8 0z")
_FULL_CIRCLE = f'<circle {_F} cx="7" cy="7" r="6.3"/>'
_BROKEN_CIRCLE = f'<circle {_O} cx="7" cy="7" r="5.4" stroke-dasharray="3.4 2.255" stroke-dashoffset="1.7"/>'

# word (or "kind:word" where one word has two shapes) -> drawing
MARKS: dict[str, str] = {
    # stages of a female: the circle fills as the follicle grows, then becomes a diamond, a lozenge, eggs
    "previtellogenic": _EMPTY_CIRCLE,
    "vitellogenic": _HALF_CIRCLE,
    "preovulatory": _FULL_CIRCLE,
    "ovulated": _solid("M7 .2L13.8 7 7 13.8.2 7z"),
    "gravid": f'<rect {_F} x="0" y="3.2" width="14" height="7.6" rx="3.8"/>',
    "laid": _LAID,
    "regressing": _REGRESSING,
    "growth in doubt": _open("M3.9 6.9L1.4 2.6h11.2l-2.5 4.3M4.9 8.7L7 12.4l2.1-3.7"),
    "resting": _RESTING,
    # verdicts and work
    "go": _GO,
    "marginal": _open("M7 1l6 6-6 6-6-6z") + _solid("M7 1v12L1 7z"),
    "no-go": _NO,
    "needs-review": _BROKEN_CIRCLE + f'<circle {_F} cx="7" cy="7" r="1.6"/>',
    "due": _SQUARE,
    "done": _DONE,
    "late": _solid("M.8.8h12.4v12.4H.8zM6.2 3.2V8l3.4 2.2.9-1.3-2.7-1.7v-4z"),
    "offered": f'<circle {_O} cx="7" cy="7" r="5.6"/><circle {_F} cx="7" cy="7" r="2"/>',
    "ate": f'<circle {_F} cx="7" cy="7" r="5.6"/>',
    "left": _SLASHED_RING,
    "regurgitated": f'<g transform="rotate(-45 7 7)"><path {_F} d="M1.2 6A5.9 5.9 0 0 1 12.8 6z"/>'
    f'<path {_F} d="M1.2 8A5.9 5.9 0 0 0 12.8 8z"/></g>',
    "doubtful": _BROKEN_CIRCLE,
    "hold": _BARS,
    "held": _BARS,
    "silent": _DASHED,
    "alarm": _ALARM,
    "in band": _TICK,
    "ok": _TICK,
    "locked": f'<circle {_F} cx="7" cy="7" r="4.4"/>',
    "not seen": _EMPTY_CIRCLE,
    "skipped": _BARS,
    # sex: always beside the word
    "female": f'<circle {_O} cx="7" cy="5" r="3.8"/>' + _open("M7 8.8V13.6M4.6 11.4h4.8"),
    "male": f'<circle {_O} cx="5.4" cy="8.6" r="3.8"/>' + _open("M8.2 5.8L12.6 1.4M9 1.4h3.7v3.7"),
    "unknown": _open("M4 4.4a3 3 0 1 1 4.4 2.7C7.4 7.7 7 8.2 7 9.4M7 11.2v1.8"),
    # animals
    "here": _TUB + f'<path {_F} d="M4 6.4h6v4H4z"/>',
    "loaned": _TUB + _open("M4.6 7.8h5M7.8 6l1.8 1.8-1.8 1.8", "1.4"),
    "missing": _open("M1.2 3.2h2.6M5.6 3.2h2.8M10.2 3.2h2.6M2.2 5v2M2.2 9v3.4h2M6 12.4h2M9.8 12.4h2V9M11.8 7V5"),
    "sold": _solid(_TAG + "M7 4.2a1.3 1.3 0 1 0 0 2.6 1.3 1.3 0 0 0 0-2.6z"),
    "given away": _OUT,
    "dead": _TUB + _open("M4.6 6l4.8 4.4M9.4 6l-4.8 4.4", "1.4"),
    # eggs and broods
    "collected": _EGG,
    "in box": _open("M1.2 5v7.6h11.6V5", "1.5") + f'<ellipse {_F} cx="7" cy="7.4" rx="2.9" ry="3.7"/>',
    "slug": _EGG.replace("/>", ' stroke-dasharray="2.2 1.6"/>'),
    "failed": _CROSS,
    "egg:failed": _EGG + _open("M3 11L11.4 3", "1.5"),
    "pipping": _EGG + _open("M4.4 6.6l1.8-1.4 1.4 1.4 2-1.6", "1.5"),
    "hatched": _open("M2.4 7.4L4 6l1.6 1.6L7 6l1.5 1.6L10 6l1.6 1.4c0 3.2-2 5.2-4.6 5.2S2.4 10.6 2.4 7.4z", "1.5"),
    "left the facility": _OUT,
    "incubating": _EGG + _solid("M2.4 7.5h9.2c0 3-2 5.1-4.6 5.1S2.4 10.5 2.4 7.5z"),
    "hatching": _EGG + _open("M4.4 6.6l1.8-1.4 1.4 1.4 2-1.6", "1.5"),
    "whole": _EGG,
    "closed": f'<rect {_F} x="1" y="1" width="12" height="12"/>',
    # seasons
    "open": _RING,
    "rested": _RESTING,
    "regressed": _REGRESSING,
    # offers, reservations, orders
    "draft": _DOTTED_SQUARE,
    "listed": _open(_TAG) + f'<circle {_F} cx="7" cy="5.4" r="1.2"/>',
    "withdrawn": _open(_TAG) + _open("M3 11.4L11 5"),
    "waiting": _SQUARE + f'<circle {_F} cx="7" cy="7" r="1.8"/>',
    "lapsed": _DOTTED_SQUARE + _open("M3.6 10.4l6.8-6.8"),
    "reservation:released": _open("M3 7h9M8.6 3.6L12 7l-3.4 3.4M1.6 2v10"),
    "kept": _DONE,
    "agreed": _HALF_SQUARE,
    "handed over": _OUT,
    "cancelled": _CROSS,
    "unpaid": _RING,
    "part paid": _HALF_CIRCLE,
    "paid": _FULL_CIRCLE,
    # parcels
    "planned": _DOTTED_SQUARE,
    "booked": _SQUARE,
    "released": _GO,
    "packed": _PARCEL,
    "handed to carrier": _open("M1 3.4h7.4v7H1zM8.4 6h2.8L13 8.2v2.2H8.4", "1.5")
    + f'<circle {_F} cx="3.8" cy="11.4" r="1.6"/><circle {_F} cx="10.6" cy="11.4" r="1.6"/>',
    "arrived": _PARCEL + _open("M4 9l2 2 3.6-3.6", "1.4"),
    "returned": _open("M12.4 11.4V7a3 3 0 0 0-3-3H2M5 1L2 4l3 3"),
    "lost": _BROKEN_CIRCLE + _open("M4.6 4.6l4.8 4.8M9.4 4.6L4.6 9.4", "1.4"),
    # alarms and job runs
    "raised": _ALARM,
    "acknowledged": _open("M7 1.6l5.8 10.6H1.2zM7 5.4v3.2M7 9.6v1.4", "1.5"),
    "resolved": _TICK,
    "running": _open("M12.4 7A5.4 5.4 0 1 1 9.6 2.3M9.4.2l.5 2.5-2.5.6"),
    # ready to sell, raising
    "ready": _TICK,
    "holdback": _BARS,
    "free": _TICK,
    "in use": _FULL_CIRCLE,
    "attention": _ALARM,
    # arrows the type face lacks
    "arrow down": _open("M7 1v11M3 8l4 4 4-4", "1.8"),
    "arrow up": _open("M7 13V2M3 6l4-4 4 4", "1.8"),
    "arrow right": _open("M1 7h11.4M8.4 2.8L12.6 7l-4.2 4.2", "1.8"),
    "arrow left": _open("M13 7H1.6M5.6 2.8L1.4 7l4.2 4.2", "1.8"),
    "scan label": _open("M.8 4V.8H4M10 .8h3.2V4M13.2 10v3.2H10M4 13.2H.8V10M4.4 7h5.2", "1.5"),
}
# words people also say for a shape
ALIASES = {
    "refused": "left",
    "too warm": "alarm",
    "too cold": "alarm",
    "probe silent": "silent",
    "no change": "resting",
}


def mark_shape(state: str, kind: str = "") -> str:
    """The drawing of a state word (without its svg frame), or an empty string for a word that has none.

    ``kind`` chooses between two shapes of one word: ``mark_shape("failed", "egg")``.
    """
    word = state.strip().lower().replace("_", " ")
    word = ALIASES.get(word, word)
    found = MARKS.get(f"{kind}:{word}") if kind else None
    return found or MARKS.get(word) or MARKS.get(word.replace(" ", "-"), "")


def mark_svg(state: str, *, kind: str = "", size_px: int = 13) -> str:
    """The mark as a decorative svg (the word beside it is what is read out), or an empty string."""
    shape = mark_shape(state, kind)
    if not shape:
        return ""
    return f'<svg viewBox="0 0 14 14" width="{size_px}" height="{size_px}" aria-hidden="true">{shape}</svg>'
