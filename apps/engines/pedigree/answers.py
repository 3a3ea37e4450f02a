"""From solved parts to a belief for every animal: breeders from their part, all other young from their parents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from apps.engines.pedigree.elimination import Solution, Table
from apps.engines.pedigree.families import Places
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
        shares[network.young] = _litters(network, solved, sires, shares)[network.litter_of]
    return np.asarray(shares)


def _litters(network: Network, solved: Sequence[Solution | None], sires: Sequence[Table], shares: Table) -> Table:
    """What one young of each litter carries, given its own record and all that is known of its parents."""
    families, states = network.families, network.states
    total = np.zeros((len(network.litters), states.size))
    alike: dict[object, list[int]] = {}
    known: dict[tuple[int, int], int] = {}
    for number, (link, kind, _) in enumerate(network.litters):
        dam, sire, choice, fusion, sex = families.links[link]
        if choice >= 0:
            total[number] = _litter(network, solved, sires, link, kind)
        else:
            way = dam >= 0, sire >= 0, fusion, sex if states.sex_matters else 0
            alike.setdefault((way, kind), []).append(number)
            if dam >= 0 and sire >= 0:
                known.setdefault((min(dam, sire), max(dam, sire)), len(known))
    joint = _pairs(network, solved, list(known), shares)
    for numbers in alike.values():
        link, kind, _ = network.litters[numbers[0]]
        ((option, told),) = network.litter_tables(link, kind)
        parents = np.array([families.links[network.litters[number][0]][:2] for number in numbers])
        if len(option.parents) == 2:
            rows = [known[one, other] for one, other in np.sort(parents, axis=1).tolist()]
            weight = joint[rows]
            weight = np.where((parents[:, 0] < parents[:, 1])[:, None, None], weight, weight.transpose(0, 2, 1))
        else:
            weight = shares[parents.max(axis=1)]
        ratio = np.divide(weight, told, out=np.zeros_like(weight), where=told > 0).reshape(len(numbers), -1)
        total[numbers] = (ratio @ option.table.reshape(ratio.shape[1], -1)) * network.kinds[kind]
    whole = total.sum(axis=1, keepdims=True)
    return np.asarray(np.divide(total, whole, out=np.zeros_like(total), where=whole > 0))


def _pairs(
    network: Network, solved: Sequence[Solution | None], pairs: Sequence[tuple[int, int]], shares: Table
) -> Table:
    """Belief over the genotypes of both of each pair together; those of unlike parts are independent."""
    size = network.states.size
    if not pairs:
        return np.zeros((0, size, size))
    places = np.array(pairs)
    joint = (shares[places[:, 0], :, None] * shares[places[:, 1], None, :]).reshape(len(pairs), -1)
    cells: dict[tuple[int, int], Places] = {}
    part_of, mask_of = network.part_of, network.mask_of
    for row, (one, other) in enumerate(pairs):
        number = part_of.get(one, -1)
        if number < 0 or number != part_of.get(other, -2):
            continue
        solution = solved[number]
        if solution is None or not solution.possible:
            continue
        masks = int(mask_of[one]), int(mask_of[other])
        if masks not in cells:
            cells[masks] = (network.states_at(one)[:, None] * size + network.states_at(other)).ravel()
        joint[row] = 0.0
        joint[row, cells[masks]] = solution.joint[one, other].ravel()
    return joint.reshape(len(pairs), size, size)


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
