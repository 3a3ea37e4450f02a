"""A room of the house in one line: what is due, what is late, who walks it."""

from __future__ import annotations

from dataclasses import dataclass

from apps.care.choices import DueKind
from apps.care.pages.rounds import kind_words
from apps.care.selectors.rooms_due import RoomDue, WholeHouse
from apps.core import clock
from apps.core.formats import count_text


@dataclass(frozen=True, slots=True)
class RoomRow:
    """One room in walking order; ``parts`` are its kinds in words, ``state`` who walks it."""

    due: RoomDue
    parts: list[str]
    late: str
    state: str
    button: str

    @property
    def room_ref(self) -> str:
        """What the button opens."""
        return self.due.room.ref


def room_rows(house: WholeHouse, most: int | None = None) -> list[RoomRow]:
    """Every room with racks or tasks, in walking order; of more than ``most`` the first with work or a round in it."""
    rooms = house.rooms
    if most is not None and len(rooms) > most:
        rooms = [one for one in rooms if not one.is_idle or one.round is not None][:most]
    return [_row(one) for one in rooms]


def _row(one: RoomDue) -> RoomRow:
    parts = [kind_words(kind, one.due[kind]) for kind in DueKind if one.due[kind]]
    if one.tasks:
        parts.append(count_text(len(one.tasks), "task"))
    state, button = "", "Open the round"
    if one.round is not None:
        state, button = f"{one.round.opened_by.name} since {clock.local(one.round.opened_at):%H:%M}", "Continue"
    elif one.handed_over is not None and one.handed_over.closed_by is not None and one.handed_over.closed_at:
        state = f"handed over by {one.handed_over.closed_by.name}, {clock.local(one.handed_over.closed_at):%H:%M}"
    late = f"{one.late_count:,} late" if one.late_count else ""
    return RoomRow(one, parts, late, state, button)
