"""One of the five verdicts on a ship day: the word, the reason and, for law, what it is cited from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

GO, MARGINAL, NEEDS_REVIEW, NO_GO = "go", "marginal", "needs-review", "no-go"
# A person can release a marginal day; a day that needs review must be looked into first; nothing releases a no-go.
SEVERITY = {GO: 0, MARGINAL: 1, NEEDS_REVIEW: 2, NO_GO: 3}


def degrees(temp_c: float) -> str:
    """``−2.1 °C`` with the sign that print uses."""
    return f"{temp_c:.1f} °C".replace("-", "−")


@dataclass(frozen=True)
class Finding:
    """A verdict word with its reason as one or more sentences."""

    verdict: str
    reason: str
    citation: str | None = None


def worst_verdict(verdicts: Sequence[str]) -> str:
    """The most severe word."""
    return max(verdicts, key=SEVERITY.__getitem__)


def together(findings: Sequence[Finding], otherwise: str) -> Finding:
    """All findings as one: the worst word, every reason (worst first, none hidden), citations of the same order."""
    if not findings:
        return Finding(GO, otherwise)
    ordered = sorted(findings, key=lambda found: -SEVERITY[found.verdict])
    reasons = list(dict.fromkeys(found.reason for found in ordered))
    citations = list(dict.fromkeys(found.citation for found in ordered if found.citation))
    return Finding(ordered[0].verdict, " ".join(reasons), "; ".join(citations) or None)
