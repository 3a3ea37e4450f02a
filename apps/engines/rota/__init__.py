"""Which male visits which female in the coming weeks. Pure computation; docs/methods/rota.md explains it."""

from .check import rota_faults, rota_value
from .problem import ENGINE_VERSION, DeadlineExceeded, Reason, Refusal, Rota, RotaProblem, RotaRules, Visit
from .solve import plan_rota

__all__ = [
    "ENGINE_VERSION",
    "DeadlineExceeded",
    "Reason",
    "Refusal",
    "Rota",
    "RotaProblem",
    "RotaRules",
    "Visit",
    "plan_rota",
    "rota_faults",
    "rota_value",
]
