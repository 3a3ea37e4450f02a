"""Writes of places: sites, rooms, racks, incubators, probes, and what probes read."""

from apps.places.services.readings import readings_record, silence_judge
from apps.places.services.setup import (
    health_group_add,
    incubator_add,
    incubator_change,
    probe_add,
    rack_add,
    room_add,
    site_add,
)

__all__ = [
    "health_group_add",
    "incubator_add",
    "incubator_change",
    "probe_add",
    "rack_add",
    "readings_record",
    "room_add",
    "silence_judge",
    "site_add",
]
