"""Random references for addresses, and the comparison form of a facility's own codes."""

from __future__ import annotations

import re
import secrets

# No vowels and no look-alikes: a reference is read aloud over the phone and must not spell a word.
REF_ALPHABET = "23456789bcdfghjkmnpqrstvwxyz"
REF_LENGTH = 10


def new_ref() -> str:
    """A random 10-character reference."""
    return "".join(secrets.choice(REF_ALPHABET) for _ in range(REF_LENGTH))


def code_key(code: str) -> str:
    """What makes two codes the same: trimmed, inner blanks single, case folded."""
    return re.sub(r"\s+", " ", code.strip()).casefold()


def code_natural_key(code: str) -> list[tuple[int, int, str]]:
    """Sort key that puts A-2 before A-10."""
    return [
        (0, int(part), "") if part.isdigit() else (1, 0, part) for part in re.split(r"(\d+)", code_key(code)) if part
    ]
