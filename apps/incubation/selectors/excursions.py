"""Excursions of incubators and the boxes that stood inside, with the alarms still open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q

from apps.incubation.models import Box
from apps.jobs.models import Alarm
from apps.jobs.selectors import open_alarms
from apps.places.models import Excursion, Incubator

SHORT = timedelta(hours=1)


@dataclass(frozen=True)
class Touched:
    """One excursion with the boxes that stood in the incubator during it."""

    excursion: Excursion
    boxes: list[Box]
    eggs: int

    @property
    def is_short(self) -> bool:
        """A silence of under an hour that is over."""
        row = self.excursion
        return row.ended_at is not None and row.ended_at - row.began_at < SHORT


def excursions_since(incubators: Iterable[Incubator], since: datetime, boxes: Sequence[Box]) -> list[Touched]:
    """Excursions that touch the time since, newest first, each with those of ``boxes`` that stood inside."""
    rows = (
        Excursion.objects.filter(probe__incubator__in=[incubator.pk for incubator in incubators])
        .filter(Q(ended_at__isnull=True) | Q(ended_at__gte=since))
        .select_related("probe__incubator")
        .order_by("-began_at", "probe__name")
    )
    by_incubator: dict[int, list[Box]] = defaultdict(list)
    for box in boxes:
        by_incubator[box.incubator_id].append(box)
    found = []
    for row in rows:
        inside = [
            box
            for box in by_incubator[row.probe.incubator_id or 0]
            if (row.ended_at is None or box.set_at <= row.ended_at)
            and (box.removed_at is None or box.removed_at >= row.began_at)
        ]
        found.append(Touched(row, inside, sum(len(box.eggs.all()) for box in inside)))
    return found


def open_alarms_of(incubators: Iterable[Incubator]) -> dict[int, list[Alarm]]:
    """Open alarms about each incubator or one of its probes, by incubator id."""
    subjects: dict[str, int] = {}
    for incubator in incubators:
        subjects[incubator.ref] = incubator.pk
        subjects.update({probe.ref: incubator.pk for probe in incubator.probes.all()})
    found: dict[int, list[Alarm]] = defaultdict(list)
    for alarm in open_alarms().filter(subject_ref__in=subjects):
        found[subjects[alarm.subject_ref]].append(alarm)
    return found
