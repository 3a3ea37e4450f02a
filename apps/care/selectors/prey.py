"""What prey weighs, from fixtures/reference/care/prey.yaml; the facility's own weighed offers replace it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from statistics import median
from types import MappingProxyType

import yaml
from django.conf import settings

from apps.care.choices import Presentation, PreyKind
from apps.engines.feeding import PreySize, PreyTable


@dataclass(frozen=True)
class PreyBook:
    """The shipped table: sizes, which prey is watched when alive, and what a species is first offered."""

    sizes: tuple[PreySize, ...]
    watched: frozenset[str]
    usual: Mapping[str, tuple[str, str]]
    source: str


@lru_cache(maxsize=1)
def prey_book() -> PreyBook:
    """The table as shipped. Raises ValueError naming the row that cannot be."""
    path = Path(settings.BASE_DIR) / "fixtures" / "reference" / "care" / "prey.yaml"
    data = yaml.safe_load(path.read_text(encoding="utf-8"))
    sizes = []
    for row in data["sizes"]:
        if row["prey"] not in PreyKind.values or not 0 < row["low_g"] <= row["high_g"] or row["most"] < 1:
            raise ValueError(f"{path.name}: {row['prey']} {row['size']}: unknown prey, or grams out of order")
        middle = round((row["low_g"] + row["high_g"]) / 2, 2)
        sizes.append(PreySize(row["prey"], row["size"], middle, int(row["most"])))
    for row in data["usual"]:
        if row["prey"] not in PreyKind.values or row["presentation"] not in Presentation.values:
            raise ValueError(f"{path.name}: usual food of {row['species']}: unknown word")
    return PreyBook(
        sizes=tuple(sizes),
        watched=frozenset(data["watched"]),
        usual=MappingProxyType({row["species"]: (row["prey"], row["presentation"]) for row in data["usual"]}),
        source=data["source"],
    )


def is_watched(prey: str, presentation: str) -> bool:
    """Live prey that can injure the animal: somebody watches until it is eaten or taken out."""
    return presentation == Presentation.LIVE and prey in prey_book().watched


def prey_table(weighed: Sequence[tuple[str, str, float]], least: float) -> PreyTable:
    """Sizes with the facility's own middle mass where at least ``least`` offers (prey, size, grams) were weighed.

    A size word of the facility's own that is not in the shipped table is added, one at a time.
    """
    groups: dict[tuple[str, str], list[float]] = defaultdict(list)
    for prey, size, grams in weighed:
        groups[(prey, size.strip().lower())].append(grams)
    own = {key: round(median(values), 2) for key, values in groups.items() if len(values) >= least}
    rows = [
        PreySize(row.prey, row.size, own.pop((row.prey, row.size), row.each_g), row.most) for row in prey_book().sizes
    ]
    most = {row.prey: row.most for row in prey_book().sizes}
    rows += [PreySize(prey, size, grams, most.get(prey, 1)) for (prey, size), grams in sorted(own.items()) if size]
    return PreyTable(tuple(rows))
