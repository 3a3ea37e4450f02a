"""A scan round written on paper, entered afterwards: many readings of one round at once, all or none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.services import service
from apps.animals.models import Animal
from apps.breeding.choices import NoReading
from apps.breeding.models import Scan, ScanRound
from apps.breeding.services.rounds import scan_skip
from apps.breeding.services.scans import scan_record
from apps.core import clock
from apps.core.errors import DomainError, Invalid, Many


@dataclass(frozen=True, kw_only=True)
class SheetLine:
    """One line of the paper: a diameter in mm, or a reason why there is none."""

    female: Animal
    mm: float | None = None
    count: int | None = None
    doubtful: bool = False
    no_reading: str = ""
    note: str = ""


@service("scan-round.enter", may=Permission.SCANS_RECORD)
def scan_round_enter(
    *,
    by: Person,
    round: ScanRound,
    lines: Sequence[SheetLine],
    observed_at: datetime,
    request_key: str | None = None,
) -> list[Scan]:
    """Record the lines of a sheet as read at ``observed_at``; returns the readings. All or none.

    What stands on paper has happened, so a hold of that moment is kept in the audit row and refuses nothing. Raises
    Invalid for an empty sheet or a moment before the round, Many naming each line that cannot be (field: her ref).
    """
    if not lines:
        raise Invalid("Nothing is filled in. Type a diameter or choose a reason.", field="lines")
    if observed_at < round.opened_at:
        local = clock.local(round.opened_at)
        raise Invalid(f"The round was opened on {local:%Y-%m-%d at %H:%M}; readings are later.", field="observed_at")
    refused: list[DomainError] = []
    scans: list[Scan] = []
    for line in lines:
        try:
            if line.mm is not None:
                scans.append(
                    scan_record(
                        by=by,
                        female=line.female,
                        mm=line.mm,
                        count=line.count,
                        doubtful=line.doubtful,
                        note=line.note,
                        round=round,
                        observed_at=observed_at,
                    )
                )
            elif line.no_reading:
                scan_skip(by=by, round=round, female=line.female, reason=NoReading(line.no_reading), note=line.note)
            else:
                raise Invalid("A diameter or a reason is needed.", field="mm")
        except DomainError as error:
            refused.append(Invalid(f"{line.female.code}: {error.message}", field=line.female.ref, code=error.code))
    if refused:
        raise Many(refused)
    return scans
