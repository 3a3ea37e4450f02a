"""Writes of breeding: seasons, cycles, scan rounds and readings, visits and locks, forecasts."""

from apps.breeding.services.cycles import (
    cycle_fact_withdraw,
    laying_finish,
    laying_record,
    ovulation_record,
    pre_lay_shed_record,
    regression_record,
)
from apps.breeding.services.forecasts import advice_override, forecast_refresh, forecasts_refresh
from apps.breeding.services.outcomes import CycleItem, cycles_record
from apps.breeding.services.rota import (
    rota_pin,
    rota_plan,
    rota_publish,
    rota_veto,
    rota_visit_begin,
    rota_wish_withdraw,
    rotas_plan_all,
)
from apps.breeding.services.rounds import scan_round_close, scan_round_open, scan_skip, scan_unskip
from apps.breeding.services.scans import ScanItem, scan_record, scan_strike, scans_record
from apps.breeding.services.seasons import season_close, season_open, season_rest
from apps.breeding.services.sheets import SheetLine, scan_round_enter
from apps.breeding.services.visits import (
    VisitItem,
    lock_record,
    lock_strike,
    visit_begin,
    visit_end,
    visit_strike,
    visits_record,
)

__all__ = [
    "CycleItem",
    "ScanItem",
    "SheetLine",
    "VisitItem",
    "advice_override",
    "cycle_fact_withdraw",
    "cycles_record",
    "forecast_refresh",
    "forecasts_refresh",
    "laying_finish",
    "laying_record",
    "lock_record",
    "lock_strike",
    "ovulation_record",
    "pre_lay_shed_record",
    "regression_record",
    "rota_pin",
    "rota_plan",
    "rota_publish",
    "rota_veto",
    "rota_visit_begin",
    "rota_wish_withdraw",
    "rotas_plan_all",
    "scan_record",
    "scan_round_close",
    "scan_round_enter",
    "scan_round_open",
    "scan_skip",
    "scan_strike",
    "scan_unskip",
    "scans_record",
    "season_close",
    "season_open",
    "season_rest",
    "visit_begin",
    "visit_end",
    "visit_strike",
    "visits_record",
]
