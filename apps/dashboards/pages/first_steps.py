"""What an empty facility does first; gone once an animal is recorded."""

from __future__ import annotations

from dataclasses import dataclass

from apps.accounts.choices import Permission
from apps.accounts.models import Person
from apps.accounts.policies import may
from apps.accounts.selectors import facility
from apps.animals.models import Animal
from apps.places.models import Incubator, Rack


@dataclass(frozen=True)
class FirstStep:
    """One step: what is done there, the address, whether it is done, and why it comes now."""

    words: str
    url: str
    done: bool
    why: str


def first_steps(person: Person) -> list[FirstStep]:
    """The steps this person may take, in order; none once there is an animal."""
    if Animal.objects.exists():
        return []
    steps = [
        (Permission.SETTINGS_EDIT, "Settings", "/settings/", bool(facility().city), "name, address, time zone, units"),
        (Permission.PLACES_EDIT, "Rooms and racks", "/places/setup/", Rack.objects.exists(), "by hand, or as a file"),
        (Permission.IMPORT, "Animals", "/import/", False, "from a file; each kind has an example to fill"),
        (
            Permission.INCUBATORS_EDIT,
            "Incubators",
            "/incubation/incubators/",
            Incubator.objects.exists(),
            "before the first clutch",
        ),
        (
            Permission.PEOPLE_EDIT,
            "People",
            "/people/",
            Person.objects.filter(is_system=False).count() > 1,
            "each with their own sign-in",
        ),
    ]
    return [FirstStep(words, url, done, why) for right, words, url, done, why in steps if may(person, right)]
