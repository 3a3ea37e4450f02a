"""What everything observed says about every genotype: exact, locus by locus, over any pedigree narrow enough.

Each animal has two variables per locus, the allele from its dam and the allele from its sire. A young's allele is a
copy of one of its parent's two. A sire that is one of several candidates is one more variable, shared by all loci.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from apps.engines.pedigree.elimination import IMPOSSIBLE, Factor, Solution, Table, factor, solve, table_over

LETTERS = Literal["autosomal", "XY", "ZW"]
MOST_CONTRADICTIONS = 5


@dataclass(frozen=True, slots=True)
class Choice:
    """One open question of paternity: places of the candidate sires and their shares (sum 1)."""

    candidates: tuple[int, ...]
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Member:
    """One animal by place. `choice` names an open sire (then `sire` is None). `sex`: female, male or unknown."""

    dam: int | None = None
    sire: int | None = None
    choice: int | None = None
    sex: str = "unknown"

    @property
    def founder(self) -> bool:
        return self.dam is None and self.sire is None and self.choice is None


@dataclass(frozen=True, slots=True)
class Locus:
    """One locus as numbers. `frequencies` of its alleles where a parent is not known; per animal `priors` (k x k,
    dam's allele by sire's, founders only) and `evidence` (k x k likelihood of what was seen).

    `letters` XY or ZW with `recombination`: the heterogametic parent's two alleles lie on unlike chromosomes.
    """

    frequencies: Table
    priors: Mapping[int, Table] = field(default_factory=dict)
    evidence: Mapping[int, Table] = field(default_factory=dict)
    letters: LETTERS = "autosomal"
    recombination: float = 0.5


@dataclass(frozen=True, slots=True)
class Answer:
    """`genotypes[locus][animal]` is k x k (dam's allele by sire's), None where the records contradict each other;
    `sires[choice]` the posterior of the candidates (None likewise); `contradictions` (locus or None, animals)."""

    genotypes: list[dict[int, Table | None]]
    sires: list[Table | None]
    contradictions: list[tuple[int | None, tuple[int, ...]]]


def infer(
    members: Sequence[Member], choices: Sequence[Choice], loci: Sequence[Locus], *, deadline: float | None = None
) -> Answer:
    """Posterior of every animal at every locus and of every open sire, given everything.

    Raises TooLarge when a component is too entangled, DeadlinePassed when time runs out.
    """
    answer = Answer([{} for _ in loci], [None] * len(choices), [])
    for component in _components(members, choices):
        _infer_component(component, members, choices, loci, answer, deadline)
    return answer


def _infer_component(
    component: list[int],
    members: Sequence[Member],
    choices: Sequence[Choice],
    loci: Sequence[Locus],
    answer: Answer,
    deadline: float | None,
) -> None:
    open_choices = sorted({choice for place in component if (choice := members[place].choice) is not None})
    first = 2 * len(members)
    variables = [first + choice for choice in open_choices]
    prior = np.ones(tuple(len(choices[choice].candidates) for choice in open_choices))
    for axis, choice in enumerate(open_choices):
        shape = [1] * prior.ndim
        shape[axis] = -1
        prior = prior * np.array(choices[choice].shares).reshape(shape)
    said: list[Table] = []
    fine: list[int] = []
    alike: dict[object, Solution] = {}
    for index, locus in enumerate(loci):
        sizes, factors = _network(component, members, choices, locus)
        if not open_choices:
            key = _signature(locus, component)
            if key not in alike:
                alike[key] = solve(sizes, factors, _pairs(component), deadline=deadline)
            solution = alike[key]
            _keep(solution, component, index, answer)
            if not solution.possible:
                _explain(component, members, choices, locus, index, answer, deadline)
            continue
        table, _ = table_over(sizes, factors, variables, deadline=deadline)
        if not (table * prior).sum() > 0:
            _keep(IMPOSSIBLE, component, index, answer)
            _explain(component, members, choices, locus, index, answer, deadline)
            continue
        said.append(table / table.max())
        fine.append(index)
    if open_choices:
        _infer_with_choices(component, members, choices, loci, open_choices, prior, said, fine, answer, deadline)


def _infer_with_choices(
    component: list[int],
    members: Sequence[Member],
    choices: Sequence[Choice],
    loci: Sequence[Locus],
    open_choices: list[int],
    prior: Table,
    said: list[Table],
    fine: list[int],
    answer: Answer,
    deadline: float | None,
) -> None:
    """Every locus speaks about the sires; each locus then hears what all the others said."""
    joint = prior
    for table in said:
        joint = joint * table
    impossible = not joint.sum() > 0 or len(fine) < len(loci)
    if not joint.sum() > 0:
        answer.contradictions.append((None, tuple(component)))
        for index in fine:
            _keep(IMPOSSIBLE, component, index, answer)
        return
    if not impossible:
        joint = joint / joint.sum()
        for axis, choice in enumerate(open_choices):
            answer.sires[choice] = joint.sum(axis=tuple(a for a in range(joint.ndim) if a != axis))
    first = 2 * len(members)
    variables = tuple(first + choice for choice in open_choices)
    for place, index in enumerate(fine):
        heard = prior
        for other, table in enumerate(said):
            if other != place:
                heard = heard * table
        sizes, factors = _network(component, members, choices, loci[index])
        solution = solve(sizes, [*factors, Factor(variables, heard)], _pairs(component), deadline=deadline)
        _keep(solution, component, index, answer)


def _network(
    component: Iterable[int], members: Sequence[Member], choices: Sequence[Choice], locus: Locus
) -> tuple[dict[int, int], list[Factor]]:
    """Variables (2i: from the dam, 2i + 1: from the sire, then choices) and factors of one component at a locus."""
    count = len(locus.frequencies)
    sizes: dict[int, int] = {}
    factors: list[Factor] = []
    for place in component:
        member = members[place]
        sizes[2 * place] = sizes[2 * place + 1] = count
        # Even without evidence: a table over both alleles keeps the two together, so their pair can be read off.
        seen = locus.evidence.get(place, np.ones((count, count)))
        factors.append(Factor((2 * place, 2 * place + 1), seen))
        if member.founder and place in locus.priors:
            factors.append(factor((2 * place, 2 * place + 1), locus.priors[place]))
            continue
        for own, parent, mother in ((2 * place, member.dam, True), (2 * place + 1, member.sire, False)):
            if not mother and member.choice is not None:
                factors.extend(_choice_factors(place, members, choices, locus, len(members), sizes))
            elif parent is None:
                factors.append(Factor((own,), locus.frequencies))
            else:
                passed = _transmission(locus, member.sex, mother=mother)
                factors.append(factor((own, 2 * parent, 2 * parent + 1), passed))
    return sizes, factors


def _choice_factors(
    place: int,
    members: Sequence[Member],
    choices: Sequence[Choice],
    locus: Locus,
    count: int,
    sizes: dict[int, int],
) -> list[Factor]:
    member = members[place]
    assert member.choice is not None
    choice = choices[member.choice]
    variable = 2 * count + member.choice
    sizes[variable] = len(choice.candidates)
    passed = _transmission(locus, member.sex, mother=False)
    made: list[Factor] = []
    for index, sire in enumerate(choice.candidates):
        table = np.ones((len(choice.candidates), *passed.shape))
        table[index] = passed
        made.append(factor((variable, 2 * place + 1, 2 * sire, 2 * sire + 1), table))
    return made


def _transmission(locus: Locus, sex: str, *, mother: bool) -> Table:
    """P(young's allele | parent's allele from its dam, from its sire), shape (k, k, k)."""
    from_dam = 0.5
    unlike = (locus.letters == "XY" and not mother) or (locus.letters == "ZW" and mother)
    if unlike and sex != "unknown":
        # XY: a sire's X came from his dam, so a daughter has that side but for recombination.
        # ZW: a dam's W came from her dam, so again a daughter has the dam's side.
        from_dam = 1.0 - locus.recombination if sex == "female" else locus.recombination
    count = len(locus.frequencies)
    same = np.eye(count)
    return from_dam * same[:, :, None] + (1.0 - from_dam) * same[:, None, :]


def _pairs(component: Iterable[int]) -> list[tuple[int, int]]:
    return [(2 * place, 2 * place + 1) for place in component]


def _keep(solution: Solution, component: list[int], index: int, answer: Answer) -> None:
    for place in component:
        answer.genotypes[index][place] = solution.pairs.get((2 * place, 2 * place + 1))


def _signature(locus: Locus, component: list[int]) -> object:
    """Loci that differ in name only have one answer."""
    return (
        locus.letters,
        locus.recombination,
        locus.frequencies.tobytes(),
        tuple((place, locus.priors[place].tobytes()) for place in component if place in locus.priors),
        tuple((place, locus.evidence[place].tobytes()) for place in component if place in locus.evidence),
    )


def _explain(
    component: list[int],
    members: Sequence[Member],
    choices: Sequence[Choice],
    locus: Locus,
    index: int,
    answer: Answer,
    deadline: float | None,
) -> None:
    """Smallest sets of animals whose records cannot all be true. After one set is found its first animal's record
    is laid aside and the search goes on, so a young that contradicts both parents is shown with each."""

    def possible(evidence: Mapping[int, Table], priors: Mapping[int, Table]) -> bool:
        fewer = Locus(locus.frequencies, priors, evidence, locus.letters, locus.recombination)
        sizes, factors = _network(component, members, choices, fewer)
        return solve(sizes, factors, (), deadline=deadline).possible

    evidence, priors = dict(locus.evidence), dict(locus.priors)
    for _ in range(MOST_CONTRADICTIONS):
        if possible(evidence, priors):
            return
        told = [place for place in component if place in evidence or place in priors]
        kept_evidence, kept_priors = dict(evidence), dict(priors)
        for place in told:
            fewer = {key: value for key, value in kept_evidence.items() if key != place}
            fewer_priors = {key: value for key, value in kept_priors.items() if key != place}
            if not possible(fewer, fewer_priors):
                kept_evidence, kept_priors = fewer, fewer_priors
        animals = tuple(place for place in told if place in kept_evidence or place in kept_priors)
        answer.contradictions.append((index, animals))
        if not animals:
            return
        evidence.pop(animals[0], None)
        priors.pop(animals[0], None)


def _components(members: Sequence[Member], choices: Sequence[Choice]) -> list[list[int]]:
    group = list(range(len(members)))

    def top(place: int) -> int:
        while group[place] != place:
            group[place] = group[group[place]]
            place = group[place]
        return place

    for place, member in enumerate(members):
        kin = [parent for parent in (member.dam, member.sire) if parent is not None]
        if member.choice is not None:
            kin.extend(choices[member.choice].candidates)
        for other in kin:
            group[top(place)] = top(other)
    shared: dict[int, int] = {}
    for place, member in enumerate(members):
        if member.choice is not None:
            group[top(place)] = top(shared.setdefault(member.choice, place))
    components: dict[int, list[int]] = {}
    for place in range(len(members)):
        components.setdefault(top(place), []).append(place)
    return list(components.values())
