"""F of large pedigrees and kinship of sets, against plain references in the same run. Run by hand or by ``.ci/long``.

The named references here are written out below or in the engine: *tracing* (Meuwissen & Luo in plain Python with a
heap, full sibs sharing the result) for F, and *the plain sweep* (Colleau, animal by animal) for sets. They are no
public library; ``.ci/long`` holds the same pedigrees against one (tests/benchmarks/against_sgkit.py).
"""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from apps.engines.pedigree.frontier import pairs_of
from apps.engines.pedigree.kinship import inbreeding, kinship_between, mendelian_spread
from apps.engines.pedigree.lines import Floats, Lines, bred_marks, lines_of
from apps.engines.pedigree.tracing import traced
from tests.benchmarks.timing import say, seconds
from tests.engines.pedigree.shapes import deep, facility

pytestmark = pytest.mark.benchmark_suite
LEAST_TIMES_FASTER_THAN_TRACING = {"facility": 20.0, "deep": 20.0}
LEAST_TIMES_FASTER_THAN_THE_PLAIN_SWEEP = {"one male": 10.0, "200 x 3,000": 100.0}
MOST_MB = 250
RSS = """
import sys
from apps.engines.pedigree.kinship import inbreeding
from apps.engines.pedigree.lines import lines_of
from tests.engines.pedigree import shapes
inbreeding(lines_of(*getattr(shapes, sys.argv[1])(100_000)))
status = open("/proc/self/status").read()
print(int(status.split("VmHWM:")[1].split()[0]) // 1024)
"""
"""The most memory of a process of its own, numpy and the pedigree included (getrusage would count the parent in)."""


@pytest.mark.parametrize(("shape", "size"), [("facility", 20_000), ("deep", 5_000)])
def test_inbreeding_against_tracing(shape: str, size: int) -> None:
    parents = {"facility": facility, "deep": deep}[shape](size)
    lines = lines_of(*parents)
    pairs = pairs_of(lines)
    expected = traced(lines, pairs)
    inbred = inbreeding(lines)
    assert inbred[pairs.young] == pytest.approx(expected[pairs.pair_of], abs=1e-12)
    ours = seconds(lambda: inbreeding(lines_of(*parents)))
    plain = seconds(lambda: traced(lines_of(*parents), pairs), 1)
    say(f"{shape}, {size:,} animals: {1000 * ours:.1f} ms, traced {plain:.2f} s, ratio {plain / ours:.0f}")
    assert plain / ours > LEAST_TIMES_FASTER_THAN_TRACING[shape]


@pytest.mark.parametrize("shape", ["facility", "deep"])
def test_memory_and_time_of_100_000(shape: str) -> None:
    parents = {"facility": facility, "deep": deep}[shape](100_000)
    took = seconds(lambda: inbreeding(lines_of(*parents)), 3 if shape == "facility" else 1)
    run = subprocess.run([sys.executable, "-c", RSS, shape], capture_output=True, text=True, check=True)
    say(f"{shape}, 100,000 animals: {took:.2f} s of processor time, {run.stdout.strip()} MB at most")
    assert int(run.stdout) < MOST_MB


def plain_sweep(lines: Lines, spread: Floats, place: int) -> Floats:
    """f of one animal with all, animal by animal; the pedigree stands with parents first."""
    carried = np.zeros(len(lines)).tolist()
    carried[place] = 1.0
    dam, sire = lines.dam.tolist(), lines.sire.tolist()
    for one in range(len(lines) - 1, -1, -1):
        if carried[one]:
            for parent in (dam[one], sire[one]):
                if parent >= 0:
                    carried[parent] += 0.5 * carried[one]
    found = (np.array(carried) * spread).tolist()
    for one in range(len(lines)):
        for parent in (dam[one], sire[one]):
            if parent >= 0:
                found[one] += 0.5 * found[parent]
    return 0.5 * np.array(found)


def test_sets_out_of_100_000() -> None:
    lines = lines_of(*facility(100_000))
    spread = mendelian_spread(lines, inbreeding(lines))
    breeders = np.flatnonzero(bred_marks(lines.dam, lines.sire))
    males, females = np.unique(lines.sire[lines.sire >= 0]), np.unique(lines.dam[lines.dam >= 0])
    one = int(males[-1])
    row = kinship_between(lines, spread, [one], breeders)[0]
    assert row == pytest.approx(plain_sweep(lines, spread, one)[breeders], abs=1e-12)
    plain = seconds(lambda: plain_sweep(lines, spread, one), 1)
    single = seconds(lambda: kinship_between(lines, spread, [one], breeders), 5)
    table = seconds(lambda: kinship_between(lines, spread, males[-200:], females[-3_000:]))
    say(f"one male x {len(breeders):,} breeders: {1000 * single:.1f} ms, plain {plain:.2f} s")
    say(f"200 males x 3,000 females: {table:.3f} s, plain {200 * plain:.0f} s (one sweep x 200)")
    assert plain / single > LEAST_TIMES_FASTER_THAN_THE_PLAIN_SWEEP["one male"]
    assert 200 * plain / table > LEAST_TIMES_FASTER_THAN_THE_PLAIN_SWEEP["200 x 3,000"]
