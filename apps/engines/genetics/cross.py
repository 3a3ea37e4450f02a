"""A cross: exact odds of every kind of young from two beliefs, or from a dam alone."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from apps.engines.genetics.belief import ONE, Belief, checked
from apps.engines.genetics.broods import Brood, Young, brood
from apps.engines.genetics.catalogue import Catalogue, Figure, SexSystem
from apps.engines.genetics.cross_rows import LookRow, OutcomeRow, Shelf, look_rows, outcome_rows
from apps.engines.genetics.errors import CrossError, DeadlinePassed
from apps.engines.genetics.gametes import (
    HALF,
    MOST_LINKED_LOCI,
    Group,
    Pair,
    Phase,
    autosomal_pairs,
    one_copy_needs_phase,
    sex_letters,
    sexed_pairs,
)
from apps.engines.genetics.welfare import WelfareLine, welfare_lines

ROW_LIMIT = 2_000
MOST_V = Fraction(2, 3)


@dataclass(frozen=True, slots=True)
class Parent:
    """A belief about one parent. `phase` for a one-copy sex-linked sire; `haplotypes` where the phase of a
    linkage group (keyed by its series codes) is known."""

    belief: Belief
    phase: Phase | None = None
    haplotypes: Mapping[tuple[str, ...], Mapping[Pair, Fraction]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CrossResult:
    outcomes: tuple[OutcomeRow, ...]
    looks: tuple[LookRow, ...]
    outcomes_remaining: Fraction
    looks_remaining: Fraction
    non_viable_share: Fraction
    welfare: tuple[WelfareLine, ...]
    recombination: Fraction | None


def cross(
    catalogue: Catalogue,
    dam: Parent,
    sire: Parent | None,
    *,
    clutch: Mapping[int, Fraction],
    by_sex: bool = False,
    recombination: Fraction | None = None,
    v: Fraction = Fraction(0),
    row_limit: int = ROW_LIMIT,
    list_outcomes: bool = True,
    deadline: float | None = None,
) -> CrossResult:
    """Odds per viable hatchling of `dam` x `sire`; `sire` None is parthenogenesis by terminal fusion.

    `clutch` maps the number of hatchlings (1 to 100) to its weight, summing to one. `recombination` overrides
    the catalogue's figure for sex-linked series. Exact for any number of unlinked loci; only the `row_limit`
    most probable rows are listed, with the mass left over; without `list_outcomes` only looks are.
    `deadline` is in time.monotonic seconds.
    Raises CrossError for a question without an answer, DeadlinePassed when time runs out.
    """
    _check(catalogue, dam, sire, clutch, by_sex, recombination, v)
    dam = Parent(checked(catalogue, dam.belief), dam.phase, dam.haplotypes)
    sire = Parent(checked(catalogue, sire.belief), sire.phase, sire.haplotypes) if sire else None
    broods = []
    for group in groups_of(catalogue, dam, sire, by_sex=by_sex, recombination=recombination):
        _in_time(deadline)
        broods.append(_brood(catalogue, group, dam, sire, v=v, by_sex=by_sex))
    viable = ONE
    for item in broods:
        viable *= item.viable
    welfare = welfare_lines(catalogue, dam.belief, sire.belief if sire else None, broods)
    rate = next((item.group.rates[0] for item in broods if item.group.sexed and item.group.rates), None)
    if not viable:
        return CrossResult((), (), Fraction(0), Fraction(0), ONE, welfare, rate)
    shelf = Shelf(catalogue, broods, clutch, row_limit, lambda: _in_time(deadline))
    outcomes, left = outcome_rows(shelf) if list_outcomes else ((), ONE)
    looks, looks_left = look_rows(shelf)
    return CrossResult(outcomes, looks, left, looks_left, ONE - viable, welfare, rate)


def groups_of(
    catalogue: Catalogue, dam: Parent, sire: Parent | None, *, by_sex: bool, recombination: Fraction | None = None
) -> list[Group]:
    """The groups of loci that matter for these parents: those where either may carry anything."""
    carried = {code for parent in (dam, sire) if parent for code in parent.belief.loci}
    linked = [locus for locus in catalogue.loci if locus.sex_linked and locus.code in carried]
    groups: list[Group] = []
    sexed = catalogue.sex_system.by_chromosomes
    fatherless_zw = sire is None and catalogue.sex_system is SexSystem.ZW
    if len(linked) > 1:
        raise CrossError("dam", "Two sex-linked series at once are not computed.", "Ask one of them at a time.")
    if sexed and (by_sex or linked or fatherless_zw):
        rates = tuple(_rate(locus.recombination, locus.hemizygous, recombination) for locus in linked)
        groups.append(Group(tuple(linked), rates, sexed=True))
    taken = {locus.code for locus in linked}
    for linkage in catalogue.linkage:
        present = [code for code in linkage.codes if code in carried]
        if len(present) < 2:
            continue
        if len(linkage.codes) > MOST_LINKED_LOCI:
            raise CrossError("dam", "A linkage group of more than six loci is not computed.", "Ask fewer traits.")
        groups.append(Group(tuple(catalogue.by_code[code] for code in linkage.codes), linkage.recombination))
        taken |= set(linkage.codes)
    groups.extend(Group((locus,)) for locus in catalogue.loci if locus.code in carried - taken)
    return groups


def _rate(figure: Figure | None, hemizygous: bool, given: Fraction | None) -> Fraction:
    if hemizygous:
        return Fraction(0)
    if given is not None:
        return given
    if figure is None:
        raise CrossError("recombination", "The species has no recombination figure.", "Give recombination.")
    return figure.value


def _brood(catalogue: Catalogue, group: Group, dam: Parent, sire: Parent | None, *, v: Fraction, by_sex: bool) -> Brood:
    codes = tuple(locus.code for locus in group.loci)
    if sire is None and v and len(group.loci) > 1:
        raise CrossError("v", "Linked loci with v above 0 are not computed for parthenogenesis.", "Use v = 0.")

    def pairs(parent: Parent, female: bool) -> Mapping[Pair, Fraction]:
        if group.sexed:
            return sexed_pairs(group, parent.belief, catalogue, female=female, phase=parent.phase)
        return parent.haplotypes.get(codes) or autosomal_pairs(group, parent.belief, catalogue)

    def rates(female: bool) -> tuple[Fraction, ...]:
        if not group.sexed:
            return group.rates
        one, other = sex_letters(catalogue.sex_system, female=female)
        return group.rates if one != other else tuple(HALF for _ in group.rates)

    return brood(
        group,
        pairs(dam, True),
        pairs(sire, False) if sire else None,
        dam_rates=rates(True),
        sire_rates=rates(False),
        v=v,
        keep_sex=by_sex,
    )


def _check(
    catalogue: Catalogue,
    dam: Parent,
    sire: Parent | None,
    clutch: Mapping[int, Fraction],
    by_sex: bool,
    recombination: Fraction | None,
    v: Fraction,
) -> None:
    if not clutch or any(not 1 <= size <= 100 for size in clutch) or sum(clutch.values()) != 1:
        raise CrossError("clutch_size", "A clutch is 1 to 100 hatchlings with weights that sum to 1.", "Correct it.")
    if recombination is not None and not 0 <= recombination <= HALF:
        raise CrossError("recombination", "Recombination is 0 to 0.5.", "Correct it.")
    if not 0 <= v <= MOST_V:
        raise CrossError("v", "v is 0 (at the centromere) to 2/3 (far from it).", "Correct it.")
    if v and sire is not None:
        raise CrossError("v", "v belongs to parthenogenesis.", "Leave it out, or set sire to null.")
    if by_sex and not catalogue.sex_system.by_chromosomes:
        sex_letters(catalogue.sex_system, female=True)
    if dam.phase is not None:
        raise CrossError("phase.dam", "A dam has no phase: her two X chromosomes are alike.", "Leave it out.")
    if sire is None:
        return
    needs = one_copy_needs_phase(catalogue, sire.belief)
    if needs and sire.phase is None:
        raise CrossError(
            "phase.sire",
            "The sire carries one copy of a sex-linked trait; which sex shows it depends on his own parents.",
            "Write male-maker (he had it from his sire), female-maker (from his dam) or unknown (half each).",
        )
    if sire.phase is not None and not needs:
        raise CrossError("phase.sire", "The sire has not one copy of a sex-linked trait.", "Leave out phase.")


def _in_time(deadline: float | None) -> None:
    if deadline is not None and time.monotonic() > deadline:
        raise DeadlinePassed("the cross did not finish in time")


__all__ = ["CrossResult", "Parent", "WelfareLine", "Young", "cross", "groups_of"]
