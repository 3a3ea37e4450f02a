"""Writes beliefs the way breeders speak. What `write_notation` writes, `parse_notation` reads back unchanged."""

from __future__ import annotations

from fractions import Fraction

from apps.engines.genetics.belief import Belief, LocusBelief
from apps.engines.genetics.catalogue import WILD, Catalogue, Genotype, Locus, TwoCopies
from apps.engines.genetics.errors import GeneticsError
from apps.engines.genetics.looks import NORMAL, spoken_order


def percent_words(share: Fraction, *, rounded: bool = False) -> str:
    """`66%` for 2/3, `33%` for 1/3, otherwise exact with up to six decimals.

    Raises GeneticsError when the share has no such decimal, unless `rounded` (whole percent, never 0 or 100).
    """
    if share == Fraction(2, 3):
        return "66%"
    if share == Fraction(1, 3):
        return "33%"
    if rounded:
        return f"{min(99, max(1, round(share * 100)))}%"
    scaled = share * 100 * 10**6
    if scaled.denominator != 1:
        raise GeneticsError(f"{share} is not a percentage of six decimals")
    whole, decimals = divmod(int(scaled), 10**6)
    tail = f"{decimals:06d}".rstrip("0")
    if not tail and whole in (66, 33):  # the bare words mean thirds
        tail = "0"
    return f"{whole}.{tail}%" if tail else f"{whole}%"


def write_notation(belief: Belief, catalogue: Catalogue, *, labels: bool = False, rounded: bool = False) -> str:
    """The belief in trade notation: what is seen, then hets, then possible hets.

    `labels` writes short labels (still readable). Raises GeneticsError for a belief that notation cannot state
    (three genotypes at a series, a share without a decimal) unless `rounded`, which then names the likeliest.
    """
    order = spoken_order(catalogue)
    seen: list[str] = []
    hets: list[str] = []
    doubts: list[str] = []
    for code in sorted(belief.loci, key=order.__getitem__):
        locus = catalogue.by_code[code]
        sure, doubt = _split(locus, belief.loci[code], rounded)
        _certain_words(locus, sure, seen, hets, labels)
        if doubt is not None:
            name, share = doubt
            doubts.append(f"{percent_words(share, rounded=rounded)} het {_name(locus, name, labels)}")
    seen.extend(belief.line_bred)
    words = [*seen, *hets, *doubts]
    if not seen:
        words.insert(0, NORMAL)
    return " ".join(words)


def _name(locus: Locus, name: str, labels: bool) -> str:
    allele = locus.allele(name)
    return allele.label if labels else allele.name


def _certain_words(locus: Locus, genotype: Genotype, seen: list[str], hets: list[str], labels: bool) -> None:
    names = [name for name in genotype if name != WILD]
    if not names:
        return
    if len(names) == 1:
        word = _name(locus, names[0], labels)
        if locus.allele(names[0]).recessive:
            hets.append(f"het {word}")
        else:
            seen.append(word)
    elif names[0] == names[1]:
        word = _name(locus, names[0], labels)
        seen.append(word if locus.allele(names[0]).recessive else _two_words(locus, names[0], word))
    else:
        seen.append(f"{_name(locus, names[0], labels)} {_name(locus, names[1], labels)}")


def _two_words(locus: Locus, name: str, word: str) -> str:
    distinct = locus.allele(name).two_copies is TwoCopies.DISTINCT
    return f"super {word}" if distinct else f"homozygous {word}"


def _split(locus: Locus, shares: LocusBelief, rounded: bool) -> tuple[Genotype, tuple[str, Fraction] | None]:
    """The sure genotype and the one doubtful extra copy that together state a locus."""
    if len(shares) == 1:
        return next(iter(shares)), None
    if len(shares) == 2:
        (one, first), (other, second) = shares.items()
        for more, less, share in ((one, other, first), (other, one, second)):
            extra = _extra(locus, more, less)
            if extra is not None:
                return less, (extra, share)
    if not rounded:
        raise GeneticsError(f"the belief at {locus.code} has no trade notation")
    return max(shares, key=lambda genotype: (shares[genotype], genotype)), None


def _extra(locus: Locus, more: Genotype, less: Genotype) -> str | None:
    """The allele X such that `less` plus "N% het X" reads as `more` for that share, or None."""
    if less == locus.wild:
        return more[0] if more[1] == WILD else None
    if less[0] != less[1] and less[1] != WILD:
        return None
    base = less[0]
    plain = (base, base) if locus.allele(base).recessive else (base, WILD)
    if less not in (plain, (base, WILD)) or base not in more or more[0] == more[1] or WILD in more:
        return None
    return more[1] if more[0] == base else more[0]
