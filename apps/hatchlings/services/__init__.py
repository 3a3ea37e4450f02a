"""Writes of the hatch room: hatching, litters, identification, readiness."""

from apps.hatchlings.services.hatch import egg_hatch, litter_born
from apps.hatchlings.services.identify import young_identify, young_sire_settle
from apps.hatchlings.services.ready import readiness_refresh

__all__ = ["egg_hatch", "litter_born", "readiness_refresh", "young_identify", "young_sire_settle"]
