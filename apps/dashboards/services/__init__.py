"""What spans floors: staged imports, entries of devices."""

from apps.dashboards.services.entries import Answer, Entry
from apps.dashboards.services.imports import Halves, import_carry, import_confirm, import_stage
from apps.dashboards.services.observations import kept_entry_record, observations_take

__all__ = [
    "Answer",
    "Entry",
    "Halves",
    "import_carry",
    "import_confirm",
    "import_stage",
    "kept_entry_record",
    "observations_take",
]
