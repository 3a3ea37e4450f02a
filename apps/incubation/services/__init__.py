"""Writes of incubation: laying, eggs, boxes, checks, hatch windows."""

from apps.incubation.services.boxes import box_remove, box_set, incubator_settings_set
from apps.incubation.services.eggs import (
    brood_close,
    egg_add,
    egg_check_record,
    egg_fail,
    egg_keep,
    egg_leave,
    egg_mark_hatched,
    egg_pip,
    egg_slug,
    eggs_check_record,
)
from apps.incubation.services.forecasts import hatch_forecast_refresh
from apps.incubation.services.laying import clutch_lay

__all__ = [
    "box_remove",
    "box_set",
    "brood_close",
    "clutch_lay",
    "egg_add",
    "egg_check_record",
    "egg_fail",
    "egg_keep",
    "egg_leave",
    "egg_mark_hatched",
    "egg_pip",
    "egg_slug",
    "eggs_check_record",
    "hatch_forecast_refresh",
    "incubator_settings_set",
]
