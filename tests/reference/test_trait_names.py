"""The trait names that a breeder of the four species expects, with their series and inheritance.

Source of the lists: common practice of the trade, collected for this project from trade pages and memory (no
published list of trade names exists). Series with a published gene: TYR, OCA2, TYRP1 (Brown et al. 2022, PLoS ONE
17:e0276376), EDNRB (Dao et al. 2023, G3 13(7)), TFEC and MC1R (Garcia-Elfring et al. 2023, 2024), OCA2 of the corn
snake (Saenko et al. 2015, Sci Rep 5:17118), LYST (Ullate-Agote et al. 2020, PNAS), PMEL (Tzika et al. 2024, Nat
Commun 15:7655), PAX7 and SPINT1 of the leopard gecko (Ullate-Agote & Tzika 2024, PNAS; Guo et al. 2021, PLoS Genet
17:e1009580).
"""

from __future__ import annotations

import pytest

from apps.animals.selectors.knowledge_traits import trait_catalogue
from apps.engines.genetics.catalogue import Inheritance

# One line per series: names separated by commas. R recessive, ID incomplete dominant, D dominant, PG line-bred.
BALL_PYTHON = """
R: Albino, Candy, Toffee
R: Lavender Albino
R: Ultramel
R: Piebald
R: Clown, Cryptic
R: VPI Axanthic
R: TSK Axanthic
R: Jolliff Axanthic
R: Ghost
R: Caramel Albino
R: Genetic Stripe
R: Tri-Stripe
R: Desert Ghost
R: Puzzle
R: Sunset
R: Monsoon
ID: Mojave, Lesser, Butter, Phantom, Mystic, Russo, Mocha, Bamboo, Special
ID: Fire, Vanilla, Disco
ID: Cinnamon, Black Pastel, Het Red Axanthic
ID: Yellowbelly, Gravel, Asphalt, Specter, Spark
D: Spider, Black Head
ID: Pastel
ID: Enchi
ID: Orange Dream
ID: GHI
ID: Leopard
ID: Mahogany
ID: Chocolate
ID: Cypress
ID: Acid
ID: Trick
ID: Spotnose
ID: Woma
ID: Hidden Gene Woma
ID: Champagne
ID: Sable
D: Pinstripe
D: Calico
D: Desert
ID: Scaleless Head
ID: Banana
"""
CORN_SNAKE = """
R: Amel, Ultra
R: Anery
R: Charcoal
R: Caramel
R: Sunkissed
R: Lava
R: Dilute
R: Kastanie
R: Toffee
R: Hypo, Strawberry, Christmas
R: Lavender
R: Motley, Stripe
R: Terrazzo
R: Diffused
R: Cinder
D: Tessera
R: Palmetto
R: Scaleless
D: Buf
D: Red Coat
D: Masque
R: Stargazer
PG: Okeetee
PG: Miami
PG: Aztec
PG: Banded
"""
BOA = """
R: Kahl Albino
R: Sharp Albino, Boa Woman Caramel
R: VPI Caramel
R: Anery type 1
R: Anery type 2
R: Blood
R: Leopard
D: Hypo
ID: Motley
ID: Jungle
ID: Key West
ID: IMG
ID: Onyx
ID: Fire
D: Arabesque
D: Aztec
"""
LEOPARD_GECKO = """
R: Tremper Albino
R: Bell Albino
R: Rainwater Albino
R: Eclipse
R: Marble Eye
R: Noir Desir
R: Murphy Patternless
R: Blizzard
ID: Mack Snow
ID: Gem Snow
ID: Giant
D: Enigma
D: White & Yellow
ID: Lemon Frost
PG: Tangerine
PG: Super Hypo
"""
WORDS = {"R": Inheritance.RECESSIVE, "ID": Inheritance.INCOMPLETE_DOMINANT, "D": Inheritance.DOMINANT}


@pytest.mark.parametrize(
    ("slug", "listed", "count"),
    [
        ("ball_python", BALL_PYTHON, 61),
        ("corn_snake", CORN_SNAKE, 30),
        ("boa", BOA, 17),
        ("leopard_gecko", LEOPARD_GECKO, 16),
    ],
)
def test_every_expected_name_stands_in_its_series(slug: str, listed: str, count: int) -> None:
    catalogue = trait_catalogue(slug)
    seen: set[str] = set()
    series: set[str] = set()
    for line in listed.strip().splitlines():
        kind, _, rest = line.partition(": ")
        names = rest.split(", ")
        seen |= set(names)
        if kind == "PG":
            assert set(names) <= {trait.name for trait in catalogue.line_bred}, names
            continue
        codes = {catalogue.locus_of[name].code for name in names}
        assert len(codes) == 1, names
        assert codes.isdisjoint(series), f"{names} share a locus with another series"
        series |= codes
        assert catalogue.allele(names[0]).inheritance is WORDS[kind], names[0]
        for name in names:
            assert catalogue.allele(name).evidence, name
            assert catalogue.allele(name).source, name
    assert len(seen) == count
    assert seen <= set(catalogue.names())


def test_what_carries_a_published_gene_names_it() -> None:
    genes = {"Albino": "TYR", "Lavender Albino": "OCA2", "Ultramel": "TYRP1", "Piebald": "TFEC", "Clown": "MC1R"}
    ball = trait_catalogue("ball_python")
    assert {name: ball.locus_of[name].gene for name in genes} == genes
    banana = ball.locus_of["Banana"]
    assert banana.sex_linked  # Mallery & Carrillo 2016, Phyllomedusa 15
    assert banana.recombination is not None
    assert banana.recombination.source


def test_the_welfare_facts_that_a_breeder_must_see_are_there() -> None:
    # Spider: Starck et al. 2022, PLoS ONE e0262788; Lemon Frost: Guo et al. 2021; Enigma: Kroenke 2023, SSRN 4626177;
    # the rest is common practice, no source
    expected = {
        "ball_python": {"Spider", "two copies of Spider", "two copies of Hidden Gene Woma", "two copies of Champagne",
                        "two copies of Spotnose", "two copies of Sable", "Desert dam"},
        "corn_snake": {"two copies of Stargazer"},
        "boa": {"two copies of Arabesque", "two copies of Motley"},
        "leopard_gecko": {"Enigma", "two copies of Enigma", "White & Yellow", "Lemon Frost"},
    }  # fmt: skip
    for slug, names in expected.items():
        blocking = {fact.name for fact in trait_catalogue(slug).welfare if fact.blocks}
        assert names <= blocking, slug
