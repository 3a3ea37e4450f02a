"""The ways to pack one animal: every box that fits it, with nothing, warmers or a phase-change pack."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from apps.engines.thermal import Curve, Filling, Metabolism, Network, Pcm, ShapeFactors, Warmer, box_conductance
from apps.engines.thermal.heat import parcel_network

NO_HEAT = Curve.constant(0.0)


@dataclass(frozen=True)
class Box:
    """A foam-lined box: inside lengths, wall, conductivity, paper filling, and the animals and packs it takes."""

    code: str
    label: str
    inside_cm: tuple[float, float, float]
    wall_mm: float
    k_w_per_mk: float
    paper_g: float
    animal_least_g: float
    animal_most_g: float
    most_packs: int


@dataclass(frozen=True)
class PcmPack:
    """A conditioned phase-change pack of the shelf."""

    code: str
    label: str
    pcm: Pcm


@dataclass(frozen=True)
class BoxPhysics:
    """What every box shares: shape factors, films (W/m2K), board, leaks, heat stores, the animal's own heat."""

    factors: ShapeFactors
    films_w_per_m2k: tuple[float, float]
    board_mm: float
    board_k_w_per_mk: float
    leak_factor: float
    filling: Filling
    metabolism: Metabolism


@dataclass(frozen=True)
class Shelf:
    """What the packing bench has."""

    boxes: tuple[Box, ...]
    warmers: tuple[Warmer, ...]
    pcm_packs: tuple[PcmPack, ...]
    physics: BoxPhysics


@dataclass(frozen=True)
class Packing:
    """One way to pack, ready to be stepped. `bare` is the same box without its phase-change pack."""

    code: str
    label: str
    network: Network
    bare: Network
    power: Curve
    power_sd_share: float
    pcm: Pcm | None
    packs: int

    @property
    def heated(self) -> bool:
        return self.power is not NO_HEAT


# From the 10th percentile to a standard deviation, for a normal spread.
_TENTH_PERCENTILE_Z = 1.2815515655446004


def packings_for(animal_g: float, shelf: Shelf) -> list[Packing]:
    """Every packing whose box takes this animal, simplest first: fewest packs, then the order of the shelf."""
    fitting = [box for box in shelf.boxes if box.animal_least_g <= animal_g <= box.animal_most_g]
    found = [packing for box in fitting for packing in _of_box(box, animal_g, shelf)]
    return sorted(found, key=lambda packing: (packing.pcm is not None, packing.packs))


def _of_box(box: Box, animal_g: float, shelf: Shelf) -> Sequence[Packing]:
    def network(pcm_g_w_per_k: float = 0.0) -> Network:
        physics = shelf.physics
        conductance = box_conductance(
            inside_cm=box.inside_cm,
            wall_mm=box.wall_mm,
            k_w_per_mk=box.k_w_per_mk,
            films_w_per_m2k=physics.films_w_per_m2k,
            factors=physics.factors,
            board_mm=physics.board_mm,
            board_k_w_per_mk=physics.board_k_w_per_mk,
        )
        return parcel_network(
            conductance=conductance,
            inside_cm=box.inside_cm,
            wall_mm=box.wall_mm,
            paper_g=box.paper_g,
            animal_g=animal_g,
            filling=physics.filling,
            leak_factor=physics.leak_factor,
            pcm_g_w_per_k=pcm_g_w_per_k,
        )

    bare = network()
    found = [Packing(box.code, f"{box.label}, no pack", bare, bare, NO_HEAT, 0.0, None, 0)]
    for warmer in shelf.warmers:
        sd_share = (1.0 - warmer.low_share) / _TENTH_PERCENTILE_Z
        for count in range(1, box.most_packs + 1):
            many = f"{count} × " if count > 1 else ""
            code = f"{box.code}+{count}x{warmer.code}"
            label = f"{box.label}, {many}{warmer.label}"
            found.append(Packing(code, label, bare, bare, warmer.curve(count), sd_share, None, count))
    if box.most_packs > 0:
        for pack in shelf.pcm_packs:
            cooled = network(pack.pcm.g_w_per_k)
            label = f"{box.label}, {pack.label}"
            found.append(Packing(f"{box.code}+{pack.code}", label, cooled, bare, NO_HEAT, 0.0, pack.pcm, 1))
    return found
