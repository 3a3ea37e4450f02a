"""What one male can do: visits a week, days between two visits, one week of rest in four. Exact, by a small automaton.

A male's state at the start of a week is (who worked in the last three weeks, days until he is free). Visits are set as
early as they can be; since every visit takes equally long, that leaves most room for the next, so a series of weekly
counts is possible exactly if this automaton can walk it (docs/methods/rota.md).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .problem import DAYS_PER_WEEK, HISTORY_WEEKS, Floats, Ints, RotaProblem

HISTORIES = 1 << HISTORY_WEEKS
NEVER = -1e18


class Males:
    """The automaton of every male of a problem."""

    def __init__(self, problem: RotaProblem) -> None:
        rules = problem.rules
        self.problem = problem
        self.most = max(1, rules.visits_per_week_max)
        self.cycle = max(1, rules.cycle_days)
        longest = max(self.cycle, int(problem.free_on.max(initial=0)) + 1, 1)
        self.delays = longest
        self.capacity = problem.capacity.tolist()
        self.table = [
            [self._next(state, count) for count in range(self.most + 1)] for state in range(HISTORIES * longest)
        ]
        self.start = [
            self._code(sum(int(bit) << place for place, bit in enumerate(reversed(row))), int(free))
            for row, free in zip(problem.worked.tolist(), problem.free_on.tolist(), strict=True)
        ]
        self._next_states = np.array(self.table, dtype=np.intp)
        self._impossible = self._next_states < 0
        counts = np.arange(self.most + 1)
        self._over = counts[None, None, :] > problem.capacity[:, :, None]

    def _code(self, history: int, delay: int) -> int:
        return history * self.delays + delay

    def _next(self, state: int, count: int) -> int:
        """The state a week later, -1 when that many visits cannot be."""
        history, delay = divmod(state, self.delays)
        worked = 1 if count else 0
        if bin(history).count("1") + worked > HISTORY_WEEKS + 1 - self.problem.rules.rest_weeks_in_four:
            # a past that broke the rule already does not forbid a week of rest
            if worked:
                return -1
        later = ((history << 1) | worked) & (HISTORIES - 1)
        if not count:
            return self._code(later, max(0, delay - DAYS_PER_WEEK))
        last = delay + (count - 1) * self.cycle
        if last >= DAYS_PER_WEEK:
            return -1
        return self._code(later, max(0, last + self.cycle - DAYS_PER_WEEK))

    def possible(self, male: int, counts: Sequence[int]) -> bool:
        """Whether he can make these visits week by week."""
        state, table = self.start[male], self.table
        for count, most in zip(counts, self.capacity[male], strict=True):
            if count > most or count > self.most:
                return False
            state = table[state][count]
            if state < 0:
                return False
        return True

    def best_patterns(self, prices: Floats, least: Ints | None = None) -> tuple[Ints, float]:
        """The weekly counts worth most at these prices (M, W), and the sum over all males of what they are worth;
        with `least` (M, W), which must be possible, no week below it."""
        males, weeks = prices.shape
        counts = np.arange(self.most + 1)
        values = np.zeros((males, len(self.table)))
        choices = np.empty((weeks, males, len(self.table)), dtype=np.int8)
        for week in range(weeks - 1, -1, -1):
            later = values[:, self._next_states]
            later[:, self._impossible] = NEVER
            gain = prices[:, week, None] * counts
            gain[self._over[:, week]] = NEVER
            if least is not None:
                gain[counts[None, :] < least[:, week, None]] = NEVER
            total = later + gain[:, None, :]
            choices[week] = total.argmax(axis=2)
            values = np.maximum(total.max(axis=2), NEVER)
        state = np.array(self.start, dtype=np.intp)
        rows = np.arange(males)
        worth = float(values[rows, state].sum())
        found = np.empty((males, weeks), dtype=np.int64)
        for week in range(weeks):
            count = choices[week, rows, state]
            found[:, week] = count
            state = self._next_states[state, count]
        return found, worth
