"""Forms of the templates carry their token: the test client does not ask for it, every browser is refused without."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
INCLUDE = re.compile(r'{% include "([^"]+)"([^%]*)%}')
POSTS = re.compile(r'<form[^>]*method="post"[^>]*>((?:(?!</form>).)*)', re.DOTALL | re.IGNORECASE)


def templates() -> dict[str, str]:
    """Every template by the name it is included with."""
    return {
        str(path).split("/templates/", 1)[1]: path.read_text() for path in (ROOT / "apps").rglob("templates/**/*.html")
    }


def without_token(found: dict[str, str]) -> list[str]:
    """Forms without a token, and parts with a form that ``only`` cuts off from the token they need."""
    need = {name for name, text in found.items() if "csrf_token" in text and "{% extends" not in text}
    while more := {
        name
        for name, text in found.items()
        if name not in need and "{% extends" not in text and any(m[1] in need for m in INCLUDE.finditer(text))
    }:
        need |= more
    wrong = [
        f"{name}: a form posts without a token"
        for name, text in found.items()
        for m in POSTS.finditer(text)
        if "csrf_token" not in m[1] and not any(i[1] in need for i in INCLUDE.finditer(m[1]))
    ]
    wrong += [
        f"{name}: {m[1]} is included with `only`; give it csrf_token=csrf_token"
        for name, text in found.items()
        for m in INCLUDE.finditer(text)
        if m[1] in need and re.search(r"\bonly\b", m[2]) and "csrf_token=" not in m[2]
    ]
    return wrong


def test_every_form_reaches_its_token() -> None:
    """A form cut off from its token is refused in every browser."""
    found = templates()
    assert len(found) > 100
    assert without_token(found) == []


def test_a_form_cut_off_is_found() -> None:
    """The check sees both ways of losing it."""
    part = '<form method="post">{% csrf_token %}</form>'
    page = '{% extends "base.html" %}{% include "part.html" with row=row only %}'
    assert without_token({"part.html": part, "page.html": page}) == [
        "page.html: part.html is included with `only`; give it csrf_token=csrf_token"
    ]
    assert without_token({"page.html": '{% extends "b" %}<form method="post"><p></p></form>'}) != []
