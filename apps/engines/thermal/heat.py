"""Heat sources and heat stores of a parcel: the animal, an iron warmer, the box and its filling."""

from __future__ import annotations

from dataclasses import dataclass

from apps.engines.thermal.box import BoxConductance
from apps.engines.thermal.curve import Curve
from apps.engines.thermal.network import SECONDS_PER_HOUR, Network

GRAMS_PER_KG = 1000.0


@dataclass(frozen=True)
class Metabolism:
    """Resting oxygen use of squamates: `scale * mass_g ** exponent * 10 ** (per_c * temp_c) * 10 ** resting`.

    Figures and their sources are in packing.yaml (physics).
    """

    scale_ml_per_h: float
    mass_exponent: float
    per_c: float
    resting: float
    joules_per_ml_o2: float

    def oxygen_ml_per_h(self, *, mass_g: float, temp_c: float, resting: bool = False) -> float:
        """Oxygen used in mL/h; `resting` is awake and still, otherwise standard (fasting, asleep)."""
        state = 10.0 ** (self.resting if resting else 0.0)
        return float(self.scale_ml_per_h * mass_g**self.mass_exponent * 10.0 ** (self.per_c * temp_c) * state)

    def heat_w(self, *, mass_g: float, temp_c: float, resting: bool = False) -> float:
        """Heat given off in W."""
        oxygen = self.oxygen_ml_per_h(mass_g=mass_g, temp_c=temp_c, resting=resting)
        return oxygen * self.joules_per_ml_o2 / SECONDS_PER_HOUR


@dataclass(frozen=True)
class IronOxygen:
    """Heat per mole of oxygen for iron that rusts (J/mol) and litres per mole of gas at the stated temperature."""

    heat_j_per_mol_o2: float
    litres_per_mol: float

    def litres_per_h(self, power_w: float) -> float:
        """Oxygen that a warmer of this power takes from the box in L/h."""
        return power_w * SECONDS_PER_HOUR / self.heat_j_per_mol_o2 * self.litres_per_mol


@dataclass(frozen=True)
class Warmer:
    """An iron warmer: linear rise to its peak, flat, linear fall to nothing.

    `low_share` is the power of a 10th-percentile pack as a share of the mean pack.
    """

    code: str
    label: str
    peak_w: float
    rise_h: float
    flat_until_h: float
    ends_h: float
    low_share: float

    def curve(self, count: int = 1) -> Curve:
        """Power of `count` of them in W over the hours since they were opened."""
        peak = self.peak_w * count
        return Curve((0.0, self.rise_h, self.flat_until_h, self.ends_h), (0.0, peak, peak, 0.0))


@dataclass(frozen=True)
class Filling:
    """What turns a box and an animal into a network (packing.yaml, physics; every figure with its source there)."""

    air_density_kg_per_m3: float
    air_cp_j_per_kgk: float
    foam_density_kg_per_m3: float
    foam_cp_j_per_kgk: float
    paper_cp_j_per_kgk: float
    animal_cp_j_per_kgk: float
    skin_m2_per_kg_two_thirds: float
    exposed_share: float
    animal_film_w_per_m2k: float

    def inside_j_per_k(self, *, inside_cm: tuple[float, float, float], wall_mm: float, paper_g: float) -> float:
        """Heat store of the inside air, the inner half of the foam and the paper filling."""
        inner = inside_cm[0] * inside_cm[1] * inside_cm[2] / 1e6
        wall_cm = wall_mm / 10.0
        outer = (inside_cm[0] + 2 * wall_cm) * (inside_cm[1] + 2 * wall_cm) * (inside_cm[2] + 2 * wall_cm) / 1e6
        air = inner * self.air_density_kg_per_m3 * self.air_cp_j_per_kgk
        foam = 0.5 * (outer - inner) * self.foam_density_kg_per_m3 * self.foam_cp_j_per_kgk
        return air + foam + paper_g / GRAMS_PER_KG * self.paper_cp_j_per_kgk

    def animal_j_per_k(self, animal_g: float) -> float:
        return animal_g / GRAMS_PER_KG * self.animal_cp_j_per_kgk

    def contact_w_per_k(self, animal_g: float) -> float:
        """Conductance between the animal and the inside air: film times the skin that a coiled animal shows."""
        skin = self.skin_m2_per_kg_two_thirds * float((animal_g / GRAMS_PER_KG) ** (2.0 / 3.0))
        return self.animal_film_w_per_m2k * skin * self.exposed_share


def parcel_network(
    *,
    conductance: BoxConductance,
    inside_cm: tuple[float, float, float],
    wall_mm: float,
    paper_g: float,
    animal_g: float,
    filling: Filling,
    leak_factor: float = 1.0,
    pcm_g_w_per_k: float = 0.0,
) -> Network:
    """Network of a packed box; `leak_factor` raises the conductance for lid gaps and ventilation holes."""
    inside = filling.inside_j_per_k(inside_cm=inside_cm, wall_mm=wall_mm, paper_g=paper_g)
    return Network.parcel(
        c_j_per_k=(inside, filling.animal_j_per_k(animal_g)),
        g_w_per_k=filling.contact_w_per_k(animal_g),
        ua_w_per_k=conductance.ua_w_per_k * leak_factor,
        pcm_g_w_per_k=pcm_g_w_per_k,
    )
