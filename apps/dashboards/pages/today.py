"""In which order the first screen answers “what now?”, by what a person does here."""

from __future__ import annotations

from apps.accounts.choices import Permission, Role
from apps.accounts.models import Person
from apps.accounts.policies import may

EVERYTHING = (
    "alarms",
    "put_right",
    "work",
    "rooms",
    "eggs",
    "incubation",
    "scans",
    "parcels",
    "lapsing",
    "ready",
    "notes",
    "changed",
)
# What comes first for a role; the rest follows in the order above. Alarms are first for everybody.
FIRST: dict[Role, tuple[str, ...]] = {
    Role.OWNER: ("work", "changed", "rooms"),
    Role.BREEDING_LEAD: ("eggs", "scans", "notes", "rooms"),
    Role.KEEPER: ("rooms", "notes", "changed", "scans"),
    Role.INCUBATION: ("incubation", "eggs", "changed"),
    Role.SALES: ("lapsing", "ready", "parcels", "changed"),
    Role.PACKER: ("parcels", "changed"),
    Role.OBSERVER: ("notes", "changed"),
}


def parts_for(person: Person) -> list[str]:
    """The parts of the page in this person's order, as template names.

    A person with several roles gets what comes first in each, in the order roles are listed. Who records no care sees
    the rooms in one line.
    """
    first = [part for role in Role if role in person.roles for part in FIRST[role]]
    names = list(dict.fromkeys(["alarms", "put_right", *first, *EVERYTHING]))
    rooms = "rooms" if may(person, Permission.CARE_RECORD) else "rooms_short"
    return [f"dashboards/today/_{rooms if name == 'rooms' else name}.html" for name in names]
