"""Shipped law: every destination rule that reference/shipping.md section 1.4 cites, and silence that never consents."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from apps.engines.windows.finding import Finding
from apps.engines.windows.law import Address, Consignment, law_verdict
from apps.shipping.selectors.knowledge import shipped_law

DAY = date(2027, 4, 7)
KY = Address("40511", "Lexington", "Fayette", "KY", "US")
PLACES = {
    "AZ": Address("85701", "Tucson", "Pima County", "AZ", "US"),
    "FL": Address("33101", "Miami", "Miami-Dade", "FL", "US"),
    "GA": Address("30301", "Atlanta", "Fulton", "GA", "US"),
    "HI": Address("96813", "Honolulu", "Honolulu", "HI", "US"),
    "Brooklyn": Address("11201", "Brooklyn", "Kings County", "NY", "US"),
    "Bronx": Address("10451", "Bronx", "Bronx", "NY", "US"),
    "Albany": Address("12207", "Albany", "Albany", "NY", "US"),
    "TX": Address("78701", "Austin", "Travis", "TX", "US"),
    "TN": Address("37201", "Nashville", "Davidson", "TN", "US"),
    "PR": Address("00901", "San Juan", "San Juan", "PR", "US"),
}


def judge(species: str, to: str, **more: object) -> Finding:
    consignment = replace(Consignment(species), **more)  # type: ignore[arg-type]
    return law_verdict(shipped_law(), consignment, {"origin": KY, "counter": PLACES[to]}, DAY)


@pytest.mark.parametrize(
    ("species", "to", "verdict", "citation"),
    [
        ("Python regius", "AZ", "go", "50 CFR 14.81"),
        ("Python regius", "FL", "go", "50 CFR 14.81"),
        ("Python regius", "GA", "go", "50 CFR 14.81"),
        ("Pantherophis guttatus", "GA", "no-go", "O.C.G.A. 27-1-28"),
        ("Python regius", "HI", "no-go", "HRS 150A-6(3)"),
        ("Boa imperator", "HI", "no-go", "HRS 150A-6(3)"),
        ("Python regius", "Brooklyn", "no-go", "24 RCNY"),
        ("Boa imperator", "Bronx", "no-go", "24 RCNY"),
        ("Eublepharis macularius", "Brooklyn", "go", "50 CFR 14.81"),
        ("Python regius", "Albany", "go", "50 CFR 14.81"),
        ("Pantherophis guttatus", "TN", "needs-review", ""),
        ("Python regius", "PR", "needs-review", ""),
    ],
)
def test_destinations(species: str, to: str, verdict: str, citation: str) -> None:
    found = judge(species, to)
    assert found.verdict == verdict
    assert citation in (found.citation or "")


def test_new_york_city_does_not_name_corn_snakes() -> None:
    ohio = Address("43215", "Columbus", "Franklin", "OH", "US")
    places = {"origin": ohio, "counter": PLACES["Brooklyn"]}
    assert law_verdict(shipped_law(), Consignment("Pantherophis guttatus"), places, DAY).verdict == "go"


def test_gecko_to_hawaii_is_not_a_snake_but_unreviewed() -> None:
    assert judge("Eublepharis macularius", "HI").verdict == "needs-review"


def test_eggs_and_hybrids() -> None:
    assert judge("Python regius", "Brooklyn", eggs=True).verdict == "no-go"
    assert judge("Pantherophis guttatus", "GA", eggs=True).verdict == "no-go"
    hybrid = judge("Eublepharis macularius", "FL", hybrid_of=("Python regius", "Python sebae"))
    assert hybrid.verdict == "no-go"
    assert "68-5.006" in (hybrid.citation or "")
    permit = judge("Python regius", "TX", hybrid_of=("Python bivittatus", "Python regius"))
    assert permit.verdict == "needs-review"
    assert "permit" in permit.reason


def test_the_post_takes_no_snake() -> None:
    found = judge("Python regius", "AZ", carrier="USPS")
    assert found.verdict == "no-go"
    assert "525.3" in (found.citation or "")
    assert "525.3" not in (judge("Eublepharis macularius", "AZ", carrier="USPS").citation or "")


def test_buyer_and_origin_count_as_much_as_the_counter() -> None:
    book, what = shipped_law(), Consignment("Python regius")
    calm = {"origin": KY, "counter": PLACES["Albany"]}
    assert law_verdict(book, what, calm, DAY).verdict == "go"
    assert law_verdict(book, what, {**calm, "buyer": PLACES["Brooklyn"]}, DAY).verdict == "no-go"
    assert law_verdict(book, what, {"origin": PLACES["Bronx"], "counter": PLACES["AZ"]}, DAY).verdict == "no-go"


def test_silence_is_never_consent() -> None:
    book, what = shipped_law(), Consignment("Python regius")
    abroad = Address("M5H", "Toronto", "", "Ontario", "CA")
    assert law_verdict(book, what, {"origin": KY, "counter": abroad}, DAY).verdict == "needs-review"
    unknown = Address("", "", "", "ZZ", "US")
    assert law_verdict(book, what, {"origin": KY, "counter": unknown}, DAY).verdict == "needs-review"
    assert judge("Morelia spilota", "AZ").verdict == "needs-review"
    bare = Address("", "", "", "NY", "US")
    found = law_verdict(book, what, {"origin": KY, "counter": bare}, DAY)
    assert found.verdict == "needs-review"
    assert "city and county" in found.reason


def test_a_rule_past_its_review_date_needs_review_and_a_block_stays() -> None:
    late = date(2029, 1, 8)
    book = shipped_law()
    places = {"origin": KY, "counter": PLACES["AZ"]}
    assert law_verdict(book, Consignment("Python regius"), places, late).verdict == "needs-review"
    hawaii = {"origin": KY, "counter": PLACES["HI"]}
    assert law_verdict(book, Consignment("Python regius"), hawaii, late).verdict == "no-go"


def test_rules_have_a_beginning_and_an_end() -> None:
    book, what = shipped_law(), Consignment("Python sebae")
    places = {"origin": KY, "counter": PLACES["FL"]}
    lineage = {**book.lineage, "Python sebae": ("Python sebae", "Python", "Pythonidae", "Serpentes")}
    known = replace(book, lineage=lineage)
    assert law_verdict(known, what, places, date(2021, 4, 28)).verdict == "needs-review"
    assert law_verdict(known, what, places, date(2021, 4, 29)).verdict == "no-go"
    ended = replace(known, rules=tuple(replace(rule, effective_to=date(2022, 1, 1)) for rule in known.rules))
    assert law_verdict(ended, what, places, date(2022, 1, 2)).verdict == "needs-review"


def test_none_hides_another() -> None:
    found = law_verdict(
        shipped_law(),
        Consignment("Python regius"),
        {"origin": KY, "counter": PLACES["HI"], "buyer": PLACES["Brooklyn"]},
        DAY,
    )
    assert "150A-6" in (found.citation or "")
    assert "24 RCNY" in (found.citation or "")


def test_every_rule_is_dated_and_cited() -> None:
    book = shipped_law()
    dated = [(rule.citation, rule.checked_on, rule.next_review) for rule in book.rules]
    dated += [(review.citation, review.checked_on, review.next_review) for review in book.reviews]
    for citation, checked_on, next_review in dated:
        assert citation
        assert checked_on < next_review
        assert (next_review - checked_on).days <= 366
