"""Conductance of a foam-lined box: how many watts cross its wall for each kelvin of difference."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_M = 1000.0
CM_PER_M = 100.0


class BoxError(ValueError):
    """A box that the formula does not cover; `field` names the input to mend."""

    def __init__(self, field: str, problem: str, fix: str) -> None:
        super().__init__(f"{field}: {problem}; {fix}")
        self.field = field
        self.problem = problem
        self.fix = fix


@dataclass(frozen=True)
class ShapeFactors:
    """Conduction shape factors of a hollow box (dimensionless; packing.yaml, physics).

    An edge of length d adds `edge * d`, a corner adds `corner * wall thickness`. They hold while every inside
    length is at least `least_side_per_wall` wall thicknesses.
    """

    edge: float
    corner: float
    least_side_per_wall: float


@dataclass(frozen=True)
class BoxConductance:
    """Shape factor in m, conductance inside air to outside air in W/K, areas of the foam in m2."""

    shape_factor_m: float
    ua_w_per_k: float
    inside_area_m2: float
    outside_area_m2: float


def film_k_per_w(h_w_per_m2k: float, area_m2: float) -> float:
    """Thermal resistance of an air film in K/W."""
    return 1.0 / (h_w_per_m2k * area_m2)


def slab_k_per_w(thickness_m: float, k_w_per_mk: float, area_m2: float) -> float:
    """Thermal resistance of a plane layer in K/W."""
    return thickness_m / (k_w_per_mk * area_m2)


def box_area_m2(sides_m: tuple[float, float, float]) -> float:
    """Area of the six faces in m2."""
    length, width, height = sides_m
    return 2.0 * (length * width + length * height + width * height)


def shape_factor_m(sides_m: tuple[float, float, float], wall_m: float, factors: ShapeFactors) -> float:
    """Conduction shape factor of a hollow box in m: faces, twelve edges, eight corners (inside lengths)."""
    faces = box_area_m2(sides_m) / wall_m
    edges = factors.edge * 4.0 * sum(sides_m)
    corners = factors.corner * 8.0 * wall_m
    return faces + edges + corners


def box_conductance(
    *,
    inside_cm: tuple[float, float, float],
    wall_mm: float,
    k_w_per_mk: float,
    films_w_per_m2k: tuple[float, float],
    factors: ShapeFactors,
    board_mm: float = 0.0,
    board_k_w_per_mk: float | None = None,
) -> BoxConductance:
    """Series resistance of inner film, foam, cardboard and outer film.

    Board and outer film both use the foam's outer area; the board's own thickness is not added to it.
    Raises BoxError for lengths that are not positive, or walls too thick for the shape factors.
    """
    sides_m = (inside_cm[0] / CM_PER_M, inside_cm[1] / CM_PER_M, inside_cm[2] / CM_PER_M)
    wall_m = wall_mm / MM_PER_M
    for field, value in (
        ("inside_cm", min(sides_m)),
        ("wall_mm", wall_m),
        ("k_w_per_mk", k_w_per_mk),
        ("films_w_per_m2k", min(films_w_per_m2k)),
    ):
        if not value > 0.0:
            raise BoxError(field, "must be more than 0", "give the measured value")
    if min(sides_m) < factors.least_side_per_wall * wall_m:
        raise BoxError(
            "wall_mm",
            f"the shortest inside length is under {factors.least_side_per_wall:g} of the wall thickness",
            "the shape factors do not hold there: give a thinner wall or a larger box",
        )
    inside_area = box_area_m2(sides_m)
    outside_area = box_area_m2((sides_m[0] + 2 * wall_m, sides_m[1] + 2 * wall_m, sides_m[2] + 2 * wall_m))
    shape = shape_factor_m(sides_m, wall_m, factors)
    resistance = film_k_per_w(films_w_per_m2k[0], inside_area) + 1.0 / (k_w_per_mk * shape)
    resistance += film_k_per_w(films_w_per_m2k[1], outside_area)
    if board_mm > 0.0:
        if board_k_w_per_mk is None or not board_k_w_per_mk > 0.0:
            raise BoxError(
                "board_k_w_per_mk", "is missing", "give the conductivity of the board, or leave board_mm out"
            )
        resistance += slab_k_per_w(board_mm / MM_PER_M, board_k_w_per_mk, outside_area)
    return BoxConductance(shape, 1.0 / resistance, inside_area, outside_area)
