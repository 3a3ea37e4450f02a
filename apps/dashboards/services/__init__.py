"""What spans floors: staged imports."""

from apps.dashboards.services.imports import Halves, import_carry, import_confirm, import_stage

__all__ = ["Halves", "import_carry", "import_confirm", "import_stage"]
