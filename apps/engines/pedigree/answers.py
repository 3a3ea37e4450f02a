"""From solved parts to a belief for every animal: breeders from their part, all other young from their parents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from apps.engines.pedigree.elimination import Solution, Table
from apps.engines.pedigree.network import Network


def beliefs(network: Network, solved: Sequence[Solution | None], sires: Sequence[Table]) -> Table:
    """Beliefs of all animals over the locus' genotypes (animals x genotypes); `sires` are the shares of every choice's
    candidates as known from all loci. Rows of contradicted relatives mean nothing."""
    shares = network.own * network.allowed
    shares = shares / np.maximum(shares.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    for part, solution in zip(network.parts, solved, strict=True):
        if solution is None or not solution.possible:
            continue
        for name in part.sizes:
            if name < network.families.size:
                shares[name] = 0.0
                shares[name, network.states_at(name)] = solution.joint[(name,)]
    if len(network.young):
        shares[network.young] = _litters(network, solved, sires)[network.litter_of]
    return np.asarray(shares)


def _litters(network: Network, solved: Sequence[Solution | None], sires: Sequence[Table]) -> Table:
    """What one young of each litter carries, given its own record and all that is known of its parents."""
    families = network.families
    total = np.zeros((len(network.litters), network.states.size))
    kept: dict[object, Table] = {}
    for number, (link, kind, _) in enumerate(network.litters):
        dam, sire, choice, fusion, sex = families.links[link]
        key: object = (link, kind)
        if choice < 0 and not any(parent >= 0 and network.open[parent] for parent in (dam, sire)):
            known = tuple(int(network.states_at(parent)[0]) if parent >= 0 else -1 for parent in (dam, sire))
            key = (known, fusion, sex if network.states.sex_matters else 0, kind)
        if key not in kept:
            kept[key] = _litter(network, solved, sires, link, kind)
        total[number] = kept[key]
    return total


def _litter(network: Network, solved: Sequence[Solution | None], sires: Sequence[Table], link: int, kind: int) -> Table:
    choice = network.families.links[link][2]
    total = np.zeros(network.states.size)
    prior = sires[choice] if choice >= 0 else np.ones(1)
    for row, (option, told) in enumerate(network.litter_tables(link, kind)):
        weight = _joint(network, solved, option.parents, choice, row, prior)
        picked = np.ix_(*(network.states_at(parent) for parent in option.parents))
        seen = told[picked]
        ratio = np.divide(weight, seen, out=np.zeros_like(weight), where=seen > 0)
        total += (ratio.reshape(-1) @ option.table[picked].reshape(ratio.size, -1)) * network.kinds[kind]
    whole = total.sum()
    return np.asarray(total / whole) if whole > 0 else total


def _joint(
    network: Network,
    solved: Sequence[Solution | None],
    parents: tuple[int, ...],
    choice: int,
    row: int,
    prior: Table,
) -> Table:
    """Belief over the parents' possible genotypes together (axes as given), times the belief in this candidate."""
    names = [parent for parent in parents if network.open[parent]]
    variable = network.families.size + choice
    with_choice = choice >= 0 and variable in network.part_of
    scope = sorted([*names, variable] if with_choice else names)
    shape = tuple(len(network.states_at(parent)) for parent in parents)
    table = np.ones(())
    axes: list[int] = []
    for number in sorted({network.part_of[name] for name in scope}):
        inside = tuple(name for name in scope if network.part_of[name] == number)
        solution = solved[number]
        if solution is None or not solution.possible:
            return np.zeros(shape)
        joint = solution.joint[inside]
        if with_choice and variable in inside:
            joint = np.take(joint, row, axis=inside.index(variable))
            inside = tuple(name for name in inside if name != variable)
        table = np.multiply.outer(table, joint)
        axes.extend(inside)
    if choice >= 0 and not with_choice:
        table = table * prior[row]
    order = [axes.index(parent) for parent in parents if parent in axes]
    return np.asarray(np.transpose(table, order).reshape(shape))
