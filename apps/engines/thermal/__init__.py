"""How warm a parcel stays: conductance, heat packs, phase-change packs, exact steps. See docs/methods/thermal.md."""

from apps.engines.thermal.box import BoxConductance, BoxError, ShapeFactors, box_conductance
from apps.engines.thermal.curve import Curve, CurveError
from apps.engines.thermal.heat import Filling, IronOxygen, Metabolism, Warmer, parcel_network
from apps.engines.thermal.network import DeadlinePassed, Network
from apps.engines.thermal.parcel import Extreme, Trace, degree_hours_outside, simulate
from apps.engines.thermal.pcm import Pcm, PcmTooFast

__all__ = [
    "BoxConductance",
    "BoxError",
    "Curve",
    "CurveError",
    "DeadlinePassed",
    "Extreme",
    "Filling",
    "IronOxygen",
    "Metabolism",
    "Network",
    "Pcm",
    "PcmTooFast",
    "ShapeFactors",
    "Trace",
    "Warmer",
    "box_conductance",
    "degree_hours_outside",
    "parcel_network",
    "simulate",
]
