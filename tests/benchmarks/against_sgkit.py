"""F of the timed pedigrees against the public library sgkit, which lives in an environment of its own (``.ci/long``).

``reference SHAPE SIZE RUNS FILE`` is run by that environment: seconds of the calls (the first one compiles), memory,
and the answer into FILE. ``ours SHAPE SIZE RUNS FILE`` by the project's: the same, compares with FILE, and fails above
1e-12, above 250 MB, or below the ratio: 20 to the best run of "facility", 80 to the one cold run of "deep" (100,000).
"""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from tests.engines.pedigree import shapes

LEAST_TIMES_FASTER = {("facility", 100_000): 20.0, ("deep", 100_000): 80.0}
MOST_APART = 1e-12
MOST_MB = 250


def reference(dam: Any, sire: Any) -> Any:
    """F by the library."""
    import sgkit  # type: ignore[import-not-found]
    import xarray  # type: ignore[import-not-found]

    herd = xarray.Dataset({"parent": (("samples", "parents"), np.stack([dam, sire], axis=1))})
    found = sgkit.pedigree_inbreeding(herd, method="diploid", allow_half_founders=True)
    return found["stat_pedigree_inbreeding"].values


def ours(dam: Any, sire: Any) -> Any:
    """F by the engine, the check of the pedigree included."""
    from apps.engines.pedigree.kinship import inbreeding
    from apps.engines.pedigree.lines import lines_of

    return inbreeding(lines_of(dam, sire))


def main(who: str, shape: str, size: int, runs: int, file: Path) -> int:
    """Time one side; the second side compares."""
    dam, sire = getattr(shapes, shape)(size)
    taken, found = [], np.zeros(0)
    for _ in range(runs):
        began = time.perf_counter()
        found = {"reference": reference, "ours": ours}[who](dam, sire)
        taken.append(time.perf_counter() - began)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"{who} {shape} {size:,}: best {min(taken):.3f} s, first {taken[0]:.3f} s, {memory} MB")  # noqa: T201
    told = file.with_suffix(".json")
    if who == "reference":
        np.save(file, found)
        told.write_text(json.dumps({"best": min(taken)}))
        return 0
    apart = float(np.abs(np.load(file) - found).max())
    ratio = json.loads(told.read_text())["best"] / min(taken)
    print(f"  apart at most {apart:.2g}, {ratio:.0f} times faster")  # noqa: T201
    least = LEAST_TIMES_FASTER.get((shape, size), 0.0)
    return int(apart > MOST_APART or ratio < least or memory > MOST_MB)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), Path(sys.argv[5])))
