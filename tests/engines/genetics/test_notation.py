"""Trade notation: read as breeders speak, written so that it reads back the same, never guessed."""

from __future__ import annotations

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.animals.selectors.knowledge_traits import trait_catalogue, trait_catalogues
from apps.engines.genetics.belief import Belief, LocusBelief
from apps.engines.genetics.catalogue import WILD, Catalogue, lethal
from apps.engines.genetics.errors import GeneticsError, NotationError
from apps.engines.genetics.notation import known_spellings, parse_notation
from apps.engines.genetics.wording import percent_words, write_notation

ONE = Fraction(1)


@pytest.mark.parametrize(
    ("text", "loci"),
    [
        ("normal", {}),
        ("Pastel", {"PAS": {("Pastel", WILD): ONE}}),
        ("super pastel", {"PAS": {("Pastel", "Pastel"): ONE}}),
        ("homozygous Pinstripe", {"PIN": {("Pinstripe", "Pinstripe"): ONE}}),
        ("Clown", {"CLN": {("Clown", "Clown"): ONE}}),
        ("het Clown", {"CLN": {("Clown", WILD): ONE}}),
        ("normal het Clown", {"CLN": {("Clown", WILD): ONE}}),
        ("66% het Piebald", {"TFEC": {("Piebald", WILD): Fraction(2, 3), (WILD, WILD): Fraction(1, 3)}}),
        ("33 % het pied", {"TFEC": {("Piebald", WILD): Fraction(1, 3), (WILD, WILD): Fraction(2, 3)}}),
        ("66.0% het Pied", {"TFEC": {("Piebald", WILD): Fraction(33, 50), (WILD, WILD): Fraction(17, 50)}}),
        ("50% possible het Pied", {"TFEC": {("Piebald", WILD): Fraction(1, 2), (WILD, WILD): Fraction(1, 2)}}),
        ("Mojave Lesser", {"BEL": {("Mojave", "Lesser"): ONE}}),
        ("lesser, mojave", {"BEL": {("Mojave", "Lesser"): ONE}}),
        ("Mojave/Lesser", {"BEL": {("Mojave", "Lesser"): ONE}}),
        ("Clown het Cryptic", {"CLN": {("Clown", "Cryptic"): ONE}}),
        ("Ivory", {"YB": {("Yellowbelly", "Yellowbelly"): ONE}}),
        ("Het Red Axanthic", {"8BL": {("Het Red Axanthic", WILD): ONE}}),
        ("100% het Clown", {"CLN": {("Clown", WILD): ONE}}),
        ("double het Albino Clown", {"ALB": {("Albino", WILD): ONE}, "CLN": {("Clown", WILD): ONE}}),
        ("het Albino Clown", {"ALB": {("Albino", WILD): ONE}, "CLN": {("Clown", "Clown"): ONE}}),
        ("Killer Bee", {"PAS": {("Pastel", "Pastel"): ONE}, "SPI": {("Spider", WILD): ONE}}),
        ("tri-stripe", {"TST": {("Tri-Stripe", "Tri-Stripe"): ONE}}),
    ],
)  # fmt: skip
def test_reading(text: str, loci: dict[str, LocusBelief], ball: Catalogue) -> None:
    assert dict(parse_notation(text, ball).loci) == loci


def test_het_binds_to_the_next_trait_only_and_triple_het_to_three(ball: Catalogue) -> None:
    belief = parse_notation("triple het Albino Clown Piebald Puzzle", ball)
    assert belief.loci["TFEC"] == {("Piebald", WILD): ONE}
    assert belief.loci["PUZ"] == {("Puzzle", "Puzzle"): ONE}


def test_a_comma_keeps_names_apart(ball: Catalogue) -> None:
    assert parse_notation("Lavender Albino", ball).loci.keys() == {"OCA2"}
    assert parse_notation("Lavender, Albino", ball).loci.keys() == {"OCA2", "ALB"}
    assert parse_notation("double het Lavender, Albino", ball).loci.keys() == {"OCA2", "ALB"}


def test_one_sure_and_one_possible_member_of_a_series(corn: Catalogue) -> None:
    belief = parse_notation("Motley 66% het Stripe", corn)
    assert belief.loci["MS"] == {("Motley", "Stripe"): Fraction(2, 3), ("Motley", "Motley"): Fraction(1, 3)}


def test_compound_and_combination_names(corn: Catalogue, boa: Catalogue) -> None:
    assert parse_notation("Ultramel", corn).loci == {"ALB": {("Amel", "Ultra"): ONE}}
    assert parse_notation("Snow", corn) == parse_notation("Amel Anery", corn)
    assert parse_notation("het Snow", corn) == parse_notation("double het Amel Anery", corn)
    assert parse_notation("Paradigm", boa) == parse_notation("Sharp Albino Boa Woman Caramel", boa)


@pytest.mark.parametrize(
    ("slug", "text", "lines"),
    [
        ("ball_python", "Axanthic", ("VPI Axanthic", "TSK Axanthic", "Jolliff Axanthic")),
        ("boa", "het Albino", ("Kahl Albino", "Sharp Albino")),
        ("leopard_gecko", "66% het Albino", ("Tremper Albino", "Bell Albino", "Rainwater Albino")),
    ],
)
def test_a_bare_word_with_several_lines_lists_them(slug: str, text: str, lines: tuple[str, ...]) -> None:
    with pytest.raises(NotationError) as caught:
        parse_notation(text, trait_catalogue(slug))
    assert caught.value.near == lines


@pytest.mark.parametrize(
    ("text", "near"),
    [("Pastle", "Pastel"), ("het Clwon", "Clown"), ("Mojav", "Mojave"), ("Lavendar Albino", "Lavender Albino")],
)
def test_unknown_words_name_near_matches(text: str, near: str, ball: Catalogue) -> None:
    with pytest.raises(NotationError) as caught:
        parse_notation(text, ball)
    assert near in caught.value.near


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        ",",
        "het",
        "66%",
        "66% Clown",
        "150% het Clown",
        "possible het Clown",
        "66% double het Clown Albino",
        "double Clown",
        "double het Clown",
        "super Clown",
        "super",
        "super Mojave Lesser",
        "Mojave Lesser Butter",
        "Clown het Clown",
        "Pastel Pastel",
        "50% het Mojave 50% het Lesser",
        "normal Clown",
        "super Spider",
        "Pearl",
        "het Bumblebee",
        "super Bumblebee",
        "zzz",
        "%",
        "het " * 600,
    ],
)
def test_refused(text: str, ball: Catalogue) -> None:
    with pytest.raises(NotationError) as caught:
        parse_notation(text, ball)
    assert caught.value.problem
    assert caught.value.fix


def test_line_bred_looks_are_words_without_a_locus(corn: Catalogue, gecko: Catalogue) -> None:
    belief = parse_notation("Okeetee het Amel", corn)
    assert belief.line_bred == ("Okeetee",)
    assert set(belief.loci) == {"ALB"}
    assert write_notation(belief, corn) == "Okeetee het Amel"
    with pytest.raises(NotationError, match="line-bred"):
        parse_notation("het Okeetee", corn)
    assert parse_notation("Super Hypo", gecko).line_bred == ("Super Hypo",)


def test_every_name_of_every_catalogue_reads_as_itself() -> None:
    for catalogue in trait_catalogues():
        for allele in catalogue.alleles():
            for spelling in (allele.name, allele.label, *allele.aliases, allele.name.upper()):
                belief = parse_notation(spelling, catalogue)
                locus = catalogue.locus_of[allele.name]
                other = allele.name if allele.recessive else WILD
                assert belief.loci == {locus.code: {(allele.name, other): ONE}}, spelling


def test_writing(ball: Catalogue) -> None:
    belief = parse_notation("33% het Pied het albino CLOWN Super mojave pastel", ball)
    assert write_notation(belief, ball) == "Pastel super Mojave Clown het Albino 33% het Piebald"
    assert write_notation(belief, ball, labels=True) == "Pastel super Mojave Clown het Albino 33% het Pied"
    assert write_notation(Belief(), ball) == "normal"


def test_what_notation_cannot_say_is_refused_or_rounded_on_request(ball: Catalogue) -> None:
    share = Belief({"CLN": {("Clown", WILD): Fraction(4, 9), (WILD, WILD): Fraction(5, 9)}})
    with pytest.raises(GeneticsError):
        write_notation(share, ball)
    assert write_notation(share, ball, rounded=True) == "normal 44% het Clown"
    quarter = Fraction(1, 4)
    three = Belief({"CLN": {("Clown", "Clown"): quarter, ("Clown", WILD): Fraction(1, 2), (WILD, WILD): quarter}})
    with pytest.raises(GeneticsError):
        write_notation(three, ball)
    assert write_notation(three, ball, rounded=True) == "normal het Clown"
    assert percent_words(Fraction(33, 50)) == "66.0%"
    assert percent_words(Fraction(1, 1000), rounded=True) == "1%"


@st.composite
def stated(draw: st.DrawFn) -> tuple[Catalogue, Belief]:
    """Any belief that notation can state, in any shipped catalogue."""
    catalogue = draw(st.sampled_from(trait_catalogues()))
    loci: dict[str, LocusBelief] = {}
    for locus in draw(st.lists(st.sampled_from(catalogue.loci), max_size=6, unique_by=lambda item: item.code)):
        sure = [pair for pair in locus.genotypes() if pair != locus.wild and not lethal(locus, pair)]
        genotype = draw(st.sampled_from(sure))
        share = draw(
            st.sampled_from([ONE, Fraction(2, 3), Fraction(1, 3), Fraction(1, 2), Fraction(33, 50), Fraction(1, 8)])
        )
        one, other = genotype
        if share == 1:
            loci[locus.code] = {genotype: ONE}
        elif other == WILD:
            loci[locus.code] = {genotype: share, locus.wild: 1 - share}
        elif one != other:
            base, extra = draw(st.sampled_from([(one, other), (other, one)]))
            plain = (base, base) if locus.allele(base).recessive else (base, WILD)
            loci[locus.code] = {locus.pair(base, extra): share, draw(st.sampled_from([plain, (base, WILD)])): 1 - share}
        else:
            loci[locus.code] = {genotype: ONE}
    names = [trait.name for trait in catalogue.line_bred]
    words = tuple(draw(st.lists(st.sampled_from(names), max_size=2, unique=True))) if names else ()
    return catalogue, Belief(loci, words)


@given(stated(), st.booleans())
def test_what_is_written_reads_back_unchanged(case: tuple[Catalogue, Belief], labels: bool) -> None:
    catalogue, belief = case
    written = write_notation(belief, catalogue, labels=labels)
    again = parse_notation(written, catalogue)
    assert {code: dict(shares) for code, shares in again.loci.items()} == {
        code: dict(shares) for code, shares in belief.loci.items()
    }, written
    assert again.line_bred == belief.line_bred


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Nothing a person types crashes the reader."""
    for catalogue in trait_catalogues():
        with contextlib.suppress(NotationError):
            assert isinstance(parse_notation(text, catalogue), Belief)


@given(st.data())
def test_order_and_case_do_not_matter(data: st.DataObject) -> None:
    catalogue = trait_catalogue("ball_python")
    words = data.draw(
        st.lists(st.sampled_from(sorted(known_spellings(catalogue))), min_size=1, max_size=4, unique=True)
    )
    shuffled = data.draw(st.permutations(words))
    outcomes: list[Belief | None] = []
    for order in (words, [word.upper() for word in shuffled]):
        try:
            outcomes.append(parse_notation(", ".join(order), catalogue))
        except NotationError:
            outcomes.append(None)
    assert outcomes[0] == outcomes[1]
