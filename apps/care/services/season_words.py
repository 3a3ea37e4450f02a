"""What the season says of females, written down for their care by the floor above."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from apps.care.models import SeasonWord
from apps.care.selectors import care_rules
from apps.core import clock


@dataclass(frozen=True, slots=True)
class SeasonWordItem:
    """One female's word: her stage, whether a fast is expected, the day of her planned scan."""

    animal_id: int
    stage: str
    fast_expected: bool
    scan_on: date | None


def season_words_write(items: Sequence[SeasonWordItem]) -> int:
    """Write what changed, and renew what would soon count no longer; returns how many rows that were. Safe to repeat.

    Nobody enters these: they follow from facts that have their own authors, so no audit row is written.
    """
    moment = clock.now()
    renew = moment - timedelta(hours=care_rules()["plan.season_word_h"] / 3)
    standing = {row.animal_id: row for row in SeasonWord.objects.filter(animal_id__in=[i.animal_id for i in items])}
    rows = []
    for item in items:
        row = standing.get(item.animal_id)
        same = row is not None and (row.stage, row.fast_expected, row.scan_on) == (
            item.stage,
            item.fast_expected,
            item.scan_on,
        )
        if row is not None and same and renew < row.noted_at <= moment:
            continue
        rows.append(
            SeasonWord(
                animal_id=item.animal_id,
                stage=item.stage,
                fast_expected=item.fast_expected,
                scan_on=item.scan_on,
                noted_at=moment,
            )
        )
    SeasonWord.objects.bulk_create(
        rows,
        batch_size=500,
        update_conflicts=True,
        unique_fields=["animal"],
        update_fields=["stage", "fast_expected", "scan_on", "noted_at"],
    )
    return len(rows)
