"""The thermal engine against textbook cases, closed forms and typed weather; each source stands beside its check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from apps.engines.thermal import Curve, IronOxygen, Metabolism, Network, Pcm, ShapeFactors, box_conductance, simulate
from apps.engines.thermal.box import film_k_per_w, shape_factor_m, slab_k_per_w

HOLMAN = ShapeFactors(edge=0.54, corner=0.15, least_side_per_wall=0.2)  # Holman, Heat Transfer, table 3-1
NONE = Curve.constant(0.0)


def lump(
    *, ua: float, c: float, ambient: Curve, start_c: float, hours: list[float], power: Curve = NONE
) -> list[float]:
    """A single node, as the air of a two-node parcel whose animal weighs nothing and touches nothing."""
    network = Network.parcel(c_j_per_k=(c, 1e-6), g_w_per_k=1e-9, ua_w_per_k=ua)
    trace = simulate(
        network, ambient=ambient, power=power, start_c=(start_c, start_c), horizon_h=max(hours), at_h=hours
    )
    return trace.at(hours)[0]


def test_plane_wall_and_panes() -> None:
    """Cengel, Heat Transfer, examples 3-1, 3-2 and 3-3."""
    assert (16 - 2) / slab_k_per_w(0.30, 0.9, 15.0) == pytest.approx(630.0, abs=0.1)
    area = 0.8 * 1.5
    single = film_k_per_w(10, area) + slab_k_per_w(0.008, 0.78, area) + film_k_per_w(40, area)
    assert single == pytest.approx(0.11271, rel=2e-4)
    assert 30 / single == pytest.approx(266.16, rel=2e-4)
    assert 20 - 30 / single * film_k_per_w(10, area) == pytest.approx(-2.18, abs=0.005)
    panes = 2 * slab_k_per_w(0.004, 0.78, area) + slab_k_per_w(0.010, 0.026, area)
    double = film_k_per_w(10, area) + panes + film_k_per_w(40, area)
    assert 30 / double == pytest.approx(69.25, abs=0.05)
    assert 20 - 30 / double * film_k_per_w(10, area) == pytest.approx(14.23, abs=0.05)


def test_furnace_with_edges_and_corners() -> None:
    """Holman, Heat Transfer, example 3-2: cubic furnace, 0.5 m inside, 0.1 m wall."""
    shape = shape_factor_m((0.5, 0.5, 0.5), 0.1, HOLMAN)
    assert shape == pytest.approx(18.36, abs=1e-9)
    assert 1.04 * shape * 450 == pytest.approx(8592, abs=1)


def box_ua(inside_cm: tuple[float, float, float], wall_mm: float, outer_film: float = 8.29) -> float:
    return box_conductance(
        inside_cm=inside_cm,
        wall_mm=wall_mm,
        k_w_per_mk=0.0375,
        films_w_per_m2k=(8.29, outer_film),
        factors=HOLMAN,
        board_mm=4,
        board_k_w_per_mk=0.06,
    ).ua_w_per_k


def test_parcel_box() -> None:
    """reference/shipping.md case 16 and table 3.6 (own computation there, by hand formulas)."""
    assert box_ua((28, 20, 15), 19.0) == pytest.approx(0.3590, abs=5e-4)
    assert box_ua((28, 20, 15), 19.0, 22.7) == pytest.approx(0.3886, abs=5e-4)
    table = {
        (18, 13, 10): (0.195, 0.162, 0.140, 0.113),
        (28, 20, 15): (0.437, 0.358, 0.306, 0.241),
        (38, 28, 23): (0.857, 0.697, 0.591, 0.459),
    }
    for inside, row in table.items():
        for wall, expected in zip((12.7, 19.05, 25.4, 38.1), row, strict=True):
            assert box_ua(inside, wall) == pytest.approx(expected, abs=6e-4)


def test_lumped_bodies() -> None:
    """Cengel example 4-1 (sphere), Holman 4-1 (steel ball), Incropera 5.1 (bead), Cengel 4-2 (cylinder)."""
    sphere = 210 / (8500 * 320 * 0.001 / 6)
    assert sphere == pytest.approx(0.46324, abs=2e-5)
    at_h = 9.94 / 3600
    reached = lump(ua=210, c=8500 * 320 * 0.001 / 6, ambient=NONE, start_c=1.0, hours=[at_h])[0]
    assert reached == pytest.approx(0.01, abs=1e-4)
    ball = lump(ua=10, c=7800 * 460 * 0.05 / 6, ambient=Curve.constant(100), start_c=450, hours=[5818 / 3600])[0]
    assert ball == pytest.approx(150, abs=0.05)
    bead = lump(ua=400, c=400.0, ambient=Curve.constant(200), start_c=25, hours=[5.165 / 3600])[0]
    assert bead == pytest.approx(199, abs=0.002)
    radius, length = 0.15, 1.7
    area, volume = 2 * math.pi * radius * (radius + length), math.pi * radius**2 * length
    body = lump(ua=8 * area, c=996 * 4178 * volume, ambient=Curve.constant(20), start_c=37, hours=[12.19])[0]
    assert body == pytest.approx(25, abs=0.01)


def test_fish_box_and_one_node() -> None:
    """Fish box: Froese 1998 as given in reference/shipping.md 3.4; case 12 is a closed form."""
    surface_cm2 = 2 * 40 * 30 + 2 * 8000 / 30 + 2 * 8000 / 40
    tau_h = 8000 / (0.11 * surface_cm2)
    assert tau_h == pytest.approx(21.82, abs=0.01)
    assert lump(ua=3600 / (tau_h * 3600), c=3600, ambient=Curve.constant(5), start_c=25, hours=[24])[0] == (
        pytest.approx(11.66, abs=0.01)
    )
    found = lump(ua=0.35, c=2500, ambient=NONE, start_c=25, hours=[1, 2, 6, 200], power=Curve.constant(2))
    assert found == pytest.approx([17.365, 12.753, 6.652, 5.714], abs=0.005)


@pytest.mark.parametrize(("tau_h", "gain", "lag_h"), [(3.0, 0.7864, 2.543), (8.0, 0.4309, 4.298)])
def test_sine_ambient(tau_h: float, gain: float, lag_h: float) -> None:
    """First-order system under a 24 h sine: gain 1/sqrt(1+(wt)^2), lag atan(wt)/w (closed form)."""
    hours = np.arange(0, 240.01, 0.1)
    sine = Curve(tuple(hours), tuple(np.sin(2 * np.pi * hours / 24)))
    shown = [216 + 0.05 * i for i in range(480)]
    answer = lump(ua=1.0, c=tau_h * 3600, ambient=sine, start_c=0.0, hours=shown)
    top = int(np.argmax(answer))
    assert answer[top] == pytest.approx(gain, rel=1e-3)
    assert shown[top] - 216 - 6 == pytest.approx(lag_h, abs=0.06)


def test_two_nodes_by_hand_and_by_circuit() -> None:
    """Cases 14 and 15 of reference/shipping.md; ngspice 39.3 gives 14 to six digits (reference/checks.md)."""
    network = Network.parcel(c_j_per_k=(400, 700), g_w_per_k=0.15, ua_w_per_k=0.30)
    assert network.time_constants_h() == pytest.approx([0.2303, 2.0845], abs=5e-5)
    cold = simulate(network, ambient=NONE, power=NONE, start_c=(25, 25), horizon_h=6, at_h=[1, 3, 6])
    air, animal = cold.at([1, 3, 6])
    assert air == pytest.approx([6.76483, 2.51996, 0.597517], abs=1e-5)
    assert animal == pytest.approx([17.35544, 6.66429, 1.580219], abs=1e-5)
    warm = simulate(network, ambient=NONE, power=Curve.constant(2.5), start_c=(25, 25), horizon_h=300, at_h=[3, 300])
    assert [side[0] for side in warm.at([3, 300])] == pytest.approx([10.013, 12.776], abs=0.005)
    assert [side[1] for side in warm.at([3, 300])] == pytest.approx([8.333, 8.333], abs=0.005)


def test_ice_melts_in_time() -> None:
    """Case 17: m L / (UA dT); the pack's coupling and the wall in series make the 0.25 W/K."""
    network = Network.parcel(c_j_per_k=(1.0, 1.0), g_w_per_k=1e-6, ua_w_per_k=0.5, pcm_g_w_per_k=0.5)
    ice = Pcm(mass_kg=1.0, latent_j_per_kg=333_600, melt_c=0.0, cp_j_per_kgk=4186, start_c=0.0, g_w_per_k=0.5)
    trace = simulate(
        network, ambient=Curve.constant(25), power=NONE, start_c=(12.5, 12.5), horizon_h=16, pcm=ice, step_h=0.25
    )
    assert trace.pack_j is not None
    assert np.interp(333_600, trace.pack_j, trace.at_h) == pytest.approx(14.83, rel=0.005)


def test_oxygen_and_animal_heat() -> None:
    """Cases 19 and 20: Andrews & Pough 1985 (coefficients from memory) and -824.2 kJ/mol Fe2O3."""
    law = Metabolism(0.013, 0.80, 0.038, 0.14, 20.1)
    assert law.oxygen_ml_per_h(mass_g=1500, temp_c=28) == pytest.approx(52.34, rel=1e-3)
    assert law.oxygen_ml_per_h(mass_g=70, temp_c=28) == pytest.approx(4.508, rel=1e-3)
    assert law.oxygen_ml_per_h(mass_g=70, temp_c=28, resting=True) == pytest.approx(6.223, rel=1e-3)
    assert law.heat_w(mass_g=1500, temp_c=28) == pytest.approx(0.2922, rel=1e-3)
    iron = IronOxygen(heat_j_per_mol_o2=2 * 824_200 / 3, litres_per_mol=24.06)
    assert iron.litres_per_h(2.5) == pytest.approx(0.394, rel=2e-3)


# Winter lane S1 and summer lane S2 of reference/shipping.md: own inputs, recomputed there at steps of 1 s and 0.25 s;
# ngspice 39.3 gives the S1 minima and T24 (reference/checks.md).
S1_AMBIENT = (8, 5, 2, -1, -3, -4, -5, -5, -4, -3, -2, 0, 2, 4, 5, 5, 4, 2, 1, 0, -1, -2, -2, -1, 0)


@pytest.mark.parametrize(
    ("peak_w", "lowest_c", "at_h", "known", "hours_below"),
    [
        (0.0, -2.3064, 9.97, {6: 2.014, 24: -0.6379}, None),
        (3.0, 5.6790, 9.62, {6: 9.015, 12: 6.887, 24: 7.0036}, (10.0, 13.3)),
        (6.0, 13.6155, 9.23, {24: 14.6451}, (15.0, 5.8)),
    ],
)
def test_winter_lane(
    peak_w: float, lowest_c: float, at_h: float, known: dict[int, float], hours_below: tuple[float, float] | None
) -> None:
    network = Network.parcel(c_j_per_k=(600, 1225), g_w_per_k=0.20, ua_w_per_k=0.36)
    trace = simulate(
        network,
        ambient=Curve(tuple(range(25)), S1_AMBIENT),
        power=Curve((0, 1, 20, 40), (0, peak_w, peak_w, 0)),
        start_c=(26, 26),
        horizon_h=24,
        at_h=list(known),
    )
    low = trace.lowest()
    assert low.temp_c == pytest.approx(lowest_c, abs=0.001)
    assert low.at_h == pytest.approx(at_h, abs=0.05)
    assert trace.at(list(known))[1] == pytest.approx(list(known.values()), abs=0.001)
    if hours_below is not None:
        below = float(np.sum(np.diff(trace.at_h) * (trace.animal_c[1:] < hours_below[0])))
        assert below == pytest.approx(hours_below[1], abs=0.1)


def test_summer_lane_with_and_without_phase_change() -> None:
    hours = tuple(float(h) for h in np.arange(0, 30.01, 0.1))
    ambient = Curve(hours, tuple(33 + 5 * math.sin(2 * math.pi * (h - 8) / 24) for h in hours))
    shown = [1, 6, 12, 24, 30]
    pack = Pcm(mass_kg=0.45, latent_j_per_kg=200e3, melt_c=22, cp_j_per_kgk=2000, start_c=20, g_w_per_k=0.5)
    cooled = Network.parcel(c_j_per_k=(600, 1225), g_w_per_k=0.20, ua_w_per_k=0.36, pcm_g_w_per_k=0.5)
    trace = simulate(cooled, ambient=ambient, power=NONE, start_c=(24, 24), horizon_h=30, at_h=shown, pcm=pack)
    assert trace.at(shown)[1] == pytest.approx([24.163, 24.886, 27.468, 31.899, 29.291], abs=0.02)
    assert trace.pack_j is not None
    assert np.interp(90e3, trace.pack_j, trace.at_h) == pytest.approx(12.917, abs=0.01)
    bare = Network.parcel(c_j_per_k=(600, 1225), g_w_per_k=0.20, ua_w_per_k=0.36)
    plain = simulate(bare, ambient=ambient, power=NONE, start_c=(24, 24), horizon_h=30, at_h=shown)
    assert plain.at(shown)[1] == pytest.approx([24.992, 28.233, 34.205, 31.675, 29.218], abs=0.02)


# Hourly dry-bulb air from DOE/NREL typical-year files (TMY3), local standard time, from the hour named.
CHICAGO_6_JAN_17H = (
    -14.4, -15.6, -17.2, -17.2, -18.9, -18.3, -17.8, -18.9, -18.9, -19.4, -20.0, -20.6, -21.1, -22.2, -22.8, -21.7,
    -18.3, -16.1, -14.4, -14.4, -13.3, -12.8, -13.3, -13.9, -16.1, -16.7, -18.3, -18.3, -19.4, -20.0, -19.4, -20.0,
    -21.1, -21.1, -21.1, -21.1, -21.7, -21.7, -21.7, -21.1, -17.2, -14.4, -12.8, -12.2, -10.6, -10.0, -9.4, -9.4,
    -10.0,
)  # fmt: skip  # Chicago O'Hare 725300
PHOENIX_15_JUL_17H = (
    42.8, 42.8, 41.7, 40.6, 38.9, 37.8, 36.7, 35.6, 34.4, 33.3, 32.8, 31.1, 30.6, 30.0, 30.0, 32.8,
    35.6, 36.7, 38.9, 40.6, 42.2, 43.3, 44.4, 44.4, 44.4, 44.4, 43.3, 41.1, 39.4, 38.3, 38.3, 37.2,
    36.7, 35.0, 34.4, 33.9, 33.9, 32.8, 33.3, 31.7, 34.4, 36.1, 37.8, 37.8, 38.3, 40.0, 40.6, 41.7,
    42.2,
)  # fmt: skip  # Phoenix Sky Harbor 722780


@pytest.mark.parametrize(
    ("air", "start_c", "power_w", "expected", "extreme_c"),
    [
        (CHICAGO_6_JAN_17H, 25.0, 2.0, [-10.395, -14.298, -8.595, -4.479], -16.010),
        (PHOENIX_15_JUL_17H, 22.0, 0.0, [37.868, 32.385, 43.453, 40.641], 43.892),
    ],
)
def test_lanes_on_typical_years(
    air: tuple[float, ...], start_c: float, power_w: float, expected: list[float], extreme_c: float
) -> None:
    """Lane checks of reference/checks.md: a closed form and a circuit simulator agree on them to 0.001 K."""
    ambient = Curve(tuple(float(h) for h in range(49)), air)
    power = Curve.constant(power_w)
    assert lump(ua=0.35, c=2500, ambient=ambient, start_c=start_c, hours=[6, 12, 24, 48], power=power) == (
        pytest.approx(expected, abs=0.01)
    )
    hours = [h / 12 for h in range(48 * 12 + 1)]
    course = lump(ua=0.35, c=2500, ambient=ambient, start_c=start_c, hours=hours, power=power)
    found = min(course) if extreme_c < 0 else max(course)
    assert found == pytest.approx(extreme_c, abs=0.01)
