"""Which dated rule speaks against sending this animal from, to or through the hands at these addresses.

Rules are data. Silence is never consent: a place without a review for the taxon, a local rule that cannot be told
apart for want of an address, and a rule past its review date all give needs-review. Not legal advice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from apps.engines.windows.finding import GO, NEEDS_REVIEW, NO_GO, Finding, together
from apps.engines.words import day as day_words

_VERDICT_OF_EFFECT = {"block": NO_GO, "permit": NEEDS_REVIEW, "notice": GO, "record": GO, "warn": GO}


@dataclass(frozen=True)
class Address:
    """The parts of an address that rules are written in; unknown parts are empty."""

    zip: str
    city: str
    county: str
    state: str
    country: str

    def shown(self) -> str:
        return ", ".join(part for part in (self.city, self.state, self.country) if part)


@dataclass(frozen=True)
class Jurisdiction:
    """A country; within it states; within them counties, cities and ZIP prefixes (any of the three names the place)."""

    country: str
    states: frozenset[str] = frozenset()
    counties: frozenset[str] = frozenset()
    cities: frozenset[str] = frozenset()
    zip_prefixes: tuple[str, ...] = ()

    def holds(self, address: Address) -> bool | None:
        """True or False, None when the address is too short to tell."""
        if address.country != self.country or (self.states and address.state not in self.states):
            return False
        if not (self.counties or self.cities or self.zip_prefixes):
            return True
        county, city = _plain(address.county), _plain(address.city)
        if (
            county in {_plain(name) for name in self.counties}
            or city in {_plain(name) for name in self.cities}
            or (address.zip and address.zip.startswith(self.zip_prefixes))
        ):
            return True
        return False if county and city else None


@dataclass(frozen=True)
class Rule:
    """One rule; `taxa` are names of any rank. `effective_from` None means in force, first date not established."""

    id: str
    jurisdiction: Jurisdiction
    taxa: frozenset[str]
    effect: str
    says: str
    citation: str
    checked_on: date
    next_review: date
    hybrids: bool = True
    eggs: bool = True
    interstate_only: bool = False
    carriers: frozenset[str] = frozenset()
    permit: str = ""
    effective_from: date | None = None
    effective_to: date | None = None

    def in_force(self, on: date) -> bool:
        begun = self.effective_from is None or self.effective_from <= on
        return begun and (self.effective_to is None or on <= self.effective_to)


@dataclass(frozen=True)
class Review:
    """Somebody looked for rules on these taxa in this jurisdiction and found none beyond those listed."""

    id: str
    jurisdiction: Jurisdiction
    taxa: frozenset[str]
    finding: str
    citation: str
    confidence: str
    checked_on: date
    next_review: date


@dataclass(frozen=True)
class LawBook:
    """All rules and reviews, and per species its name followed by genus, family and order."""

    rules: tuple[Rule, ...]
    reviews: tuple[Review, ...]
    lineage: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Consignment:
    """What is sent: species, species of a hybrid's parents, eggs or animals, and by which carrier (None: any)."""

    species: str
    hybrid_of: tuple[str, ...] = ()
    eggs: bool = False
    carrier: str | None = None


def law_verdict(book: LawBook, what: Consignment, places: Mapping[str, Address], on: date) -> Finding:
    """Worst finding over `places` (origin, counter, buyer; "origin" is needed) on a day, with every reason."""
    found: list[Finding] = []
    for role, address in places.items():
        found += _at_place(book, what, role, address, places["origin"], on)
    return together(found, "No rule was found.")


def _at_place(
    book: LawBook, what: Consignment, role: str, address: Address, origin: Address, on: date
) -> list[Finding]:
    where = f"{role} ({address.shown() or 'no address'})"
    chain = book.lineage.get(what.species)
    if chain is None:
        return [Finding(NEEDS_REVIEW, f"No rules are recorded for {what.species} at the {where}.")]
    crosses = (address.country, address.state) != (origin.country, origin.state)
    found: list[Finding] = []
    for rule in book.rules:
        if not rule.in_force(on) or not _names(rule, book, what, chain):
            continue
        if (rule.interstate_only and not crosses) or (rule.carriers and what.carrier not in rule.carriers):
            continue
        holds = rule.jurisdiction.holds(address)
        if holds is None:
            text = f"The {where} may fall under a local rule: {rule.says} Confirm city and county."
            found.append(Finding(NEEDS_REVIEW, text, rule.citation))
        elif holds:
            found.append(_of_rule(rule, where, on))
    if any(finding.verdict == NO_GO for finding in found):
        return found
    return [*found, _of_reviews(book, what.species, address, where, on)]


def _names(rule: Rule, book: LawBook, what: Consignment, chain: tuple[str, ...]) -> bool:
    if what.eggs and not rule.eggs:
        return False
    if not rule.taxa.isdisjoint(chain):
        return True
    parents = [book.lineage.get(parent, (parent,)) for parent in what.hybrid_of]
    return rule.hybrids and any(not rule.taxa.isdisjoint(parent) for parent in parents)


def _of_rule(rule: Rule, where: str, on: date) -> Finding:
    verdict = _VERDICT_OF_EFFECT[rule.effect]
    text = f"{where[0].upper()}{where[1:]}: {rule.says}"
    if rule.permit:
        text += f" Needed: {rule.permit}."
    if on > rule.next_review:
        text += f" This rule was due for review on {day_words(rule.next_review)}."
        if verdict == GO:
            verdict = NEEDS_REVIEW
    return Finding(verdict, text, rule.citation)


def _of_reviews(book: LawBook, species: str, address: Address, where: str, on: date) -> Finding:
    covering = [review for review in book.reviews if species in review.taxa and review.jurisdiction.holds(address)]
    if not covering:
        return Finding(NEEDS_REVIEW, f"No review of the rules for {species} covers the {where}.")
    newest = max(covering, key=lambda review: review.next_review)
    if on > newest.next_review:
        text = f"The review of {species} for the {where} ran out on {day_words(newest.next_review)}."
        return Finding(NEEDS_REVIEW, text, newest.citation)
    basis = "from memory" if newest.confidence == "memory" else newest.confidence
    looked = f"{basis}, {day_words(newest.checked_on)}"
    text = f"{where[0].upper()}{where[1:]}: {newest.finding} ({looked}); confirm it yourself."
    return Finding(GO, text, newest.citation)


def _plain(name: str) -> str:
    words = name.casefold().replace(".", "").split()
    return " ".join(word for word in words if word not in {"county", "borough"})
