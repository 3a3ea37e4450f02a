"""What must hold for any parcel: exactness, energy, order, insulation, the plateau."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from apps.engines.thermal import (
    BoxError,
    Curve,
    CurveError,
    DeadlinePassed,
    Network,
    Pcm,
    PcmTooFast,
    ShapeFactors,
    Trace,
    box_conductance,
    degree_hours_outside,
    simulate,
)
from apps.engines.thermal.curve import grid_of, on_grid
from apps.engines.thermal.network import Drive, Floats, march

HOLMAN = ShapeFactors(edge=0.54, corner=0.15, least_side_per_wall=0.2)
NONE = Curve.constant(0.0)
temps = st.floats(-30, 50)
hourly = st.lists(temps, min_size=4, max_size=30)
stores = st.floats(50, 5000)
couplings = st.floats(0.02, 2.0)


def course(air: list[float]) -> Curve:
    return Curve(tuple(float(h) for h in range(len(air))), tuple(air))


def run(
    air: Curve, *, c: tuple[float, float] = (300, 500), g: float = 0.1, ua: float = 0.3, power: Curve = NONE,
    start_c: float = 24.0, hours: float = 24.0, step_h: float = 0.05, pcm: Pcm | None = None,
) -> Trace:  # fmt: skip
    network = Network.parcel(
        c_j_per_k=c, g_w_per_k=g, ua_w_per_k=ua, pcm_g_w_per_k=0.0 if pcm is None else pcm.g_w_per_k
    )
    return simulate(
        network, ambient=air, power=power, start_c=(start_c, start_c), horizon_h=hours, pcm=pcm, step_h=step_h
    )


@settings(max_examples=40, deadline=None)
@given(air=hourly, c1=stores, c2=stores, g=couplings, ua=couplings, watts=st.floats(0, 8))
def test_a_step_is_as_long_as_it_likes(
    air: list[float], c1: float, c2: float, g: float, ua: float, watts: float
) -> None:
    """Exact stepping: whole hours and five-minute steps land on the same temperatures at the hours."""
    network = Network.parcel(c_j_per_k=(c1, c2), g_w_per_k=g, ua_w_per_k=ua)
    ambient, power = course(air), Curve.constant(watts)
    hours = [float(h) for h in range(len(air))]
    found = [
        simulate(
            network, ambient=ambient, power=power, start_c=(20, 25), horizon_h=hours[-1], at_h=hours, step_h=step
        ).at(hours)[1]
        for step in (1.0, 1 / 12)
    ]
    assert found[0] == pytest.approx(found[1], abs=1e-8)


def test_against_scipy_expm_and_ode() -> None:
    c, g, ua = np.array([310.0, 820.0]), 0.17, 0.28
    network = Network.parcel(c_j_per_k=(310, 820), g_w_per_k=g, ua_w_per_k=ua)
    matrix = np.array([[-(ua + g), g], [g, -g]]) / c[:, None] * 3600
    trace = simulate(network, ambient=Curve.constant(4), power=NONE, start_c=(26, 22), horizon_h=5, at_h=[5])
    expected = 4 + expm(matrix * 5) @ np.array([22.0, 18.0])
    assert [trace.at([5])[0][0], trace.at([5])[1][0]] == pytest.approx(expected.tolist(), abs=1e-9)
    ramp = Curve((0, 3, 3, 8), (10, -5, 20, 0))  # with a jump at 3 h
    stepped = simulate(network, ambient=ramp, power=Curve((0, 8), (0, 4)), start_c=(24, 24), horizon_h=8, at_h=[3, 8])
    state = np.array([24.0, 24.0])
    for (h0, h1), (t0, t1) in (((0, 3), (10, -5)), ((3, 8), (20, 0))):

        def slope(h: float, x: Floats, span: tuple[int, int] = (h0, h1), ends: tuple[int, int] = (t0, t1)) -> Floats:
            outside = ends[0] + (ends[1] - ends[0]) * (h - span[0]) / (span[1] - span[0])
            rise: Floats = matrix @ x + np.array([(ua * outside + 0.5 * h) / c[0] * 3600, 0.0])
            return rise

        state = solve_ivp(slope, (h0, h1), state, rtol=1e-10, atol=1e-10).y[:, -1]
        assert stepped.at([h1])[1][0] == pytest.approx(state[1], abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(air=hourly, ua=couplings, watts=st.floats(0, 8))
def test_energy_is_kept(air: list[float], ua: float, watts: float) -> None:
    """Heat stored equals heat through the wall plus heat of the pack (trapezoids over a fine exact trace)."""
    hours = float(len(air) - 1)
    trace = run(course(air), ua=ua, power=Curve.constant(watts), hours=hours, step_h=0.004)
    stored = 300 * (trace.air_c[-1] - 24) + 500 * (trace.animal_c[-1] - 24)
    outside_from, outside_to = on_grid(course(air), trace.at_h)
    drop = 0.5 * (outside_from + outside_to) - 0.5 * (trace.air_c[:-1] + trace.air_c[1:])
    through = ua * float(np.sum(np.diff(trace.at_h) * drop)) * 3600
    scale = 800 * (max(map(abs, air)) + 40)
    assert stored == pytest.approx(through + watts * hours * 3600, abs=2e-3 * scale)


@settings(max_examples=40, deadline=None)
@given(air=hourly, thin=st.floats(5, 40), more=st.floats(1, 40))
def test_more_foam_never_grows_the_swing(air: list[float], thin: float, more: float) -> None:
    """From rest at the first hour's air: a lower conductance keeps both extremes of the animal nearer the start."""
    ambient = course(air)

    def swing(wall_mm: float) -> float:
        ua = box_conductance(
            inside_cm=(28, 20, 15), wall_mm=wall_mm, k_w_per_mk=0.0375, films_w_per_m2k=(8.29, 8.29), factors=HOLMAN
        ).ua_w_per_k
        trace = run(Curve(ambient.at_h, ambient.value), ua=ua, start_c=air[0], hours=float(len(air) - 1))
        return max(trace.highest().temp_c - air[0], air[0] - trace.lowest().temp_c)

    assert swing(thin + more) <= swing(thin) + 1e-9


def test_more_foam_never_lowers_the_steady_lift() -> None:
    uas = [
        box_conductance(
            inside_cm=(28, 20, 15), wall_mm=mm, k_w_per_mk=0.0375, films_w_per_m2k=(8.29, 8.29), factors=HOLMAN
        ).ua_w_per_k
        for mm in (10, 19, 25, 38, 50)
    ]
    assert uas == sorted(uas, reverse=True)
    lift = run(NONE, ua=uas[1], power=Curve.constant(2.5), start_c=0.0, hours=300.0).animal_c[-1]
    assert lift == pytest.approx(2.5 / uas[1], abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(air=hourly, shift=st.floats(0, 15), watts=st.floats(0, 6))
def test_warmer_air_or_more_heat_never_cools(air: list[float], shift: float, watts: float) -> None:
    hours = float(len(air) - 1)
    plain = run(course(air), hours=hours)
    warmer = run(course([t + shift for t in air]), hours=hours, power=Curve.constant(watts))
    assert np.all(warmer.animal_c >= plain.animal_c - 1e-9)


def test_many_inputs_side_by_side_equal_one_by_one() -> None:
    rng = np.random.default_rng(7)
    grid = grid_of(12, 0.25)
    ambient = rng.normal(10, 8, (len(grid), 5))
    network = Network.parcel(c_j_per_k=(300, 500), g_w_per_k=0.1, ua_w_per_k=0.3)
    heat = np.tile([1.0, 0.02], (len(grid) - 1, 1))
    together = march(network, grid, Drive(ambient[:-1], ambient[1:], heat, heat), np.array([24.0, 24.0]))
    for i in range(5):
        one = march(network, grid, Drive(ambient[:-1, i : i + 1], ambient[1:, i : i + 1], heat, heat), np.full(2, 24.0))
        assert together[:, :, i] == pytest.approx(one[:, :, 0], abs=1e-12)


PACK = Pcm(mass_kg=0.45, latent_j_per_kg=200e3, melt_c=22, cp_j_per_kgk=2000, start_c=20, g_w_per_k=0.5)


@settings(max_examples=25, deadline=None)
@given(air=st.floats(-10, 45), start=st.floats(15, 30), pack_start=st.floats(10, 30))
def test_phase_change_rests_on_its_plateau_and_keeps_energy(air: float, start: float, pack_start: float) -> None:
    pack = Pcm(0.45, 200e3, 22, 2000, pack_start, 0.5)
    trace = run(Curve.constant(air), pcm=pack, start_c=start, hours=30.0)
    assert trace.pack_c is not None
    assert trace.pack_j is not None
    melting = (trace.pack_j > 0) & (trace.pack_j < 90e3)
    assert np.all(trace.pack_c[melting] == 22.0)
    stored = 300 * (trace.air_c[-1] - start) + 500 * (trace.animal_c[-1] - start) + trace.pack_j[-1] - trace.pack_j[0]
    mean_air = 0.5 * (trace.air_c[:-1] + trace.air_c[1:])
    through = 0.3 * 3600 * float(np.sum(np.diff(trace.at_h) * (air - mean_air)))
    assert stored == pytest.approx(through, abs=0.01 * 90e3)


def test_fine_and_default_steps_agree_with_a_pack() -> None:
    air = course([30, 33, 36, 38, 36, 33, 28, 24, 22, 20, 24, 30, 35])
    network = Network.parcel(c_j_per_k=(150, 400), g_w_per_k=0.1, ua_w_per_k=0.19, pcm_g_w_per_k=0.5)
    shown = [float(h) for h in range(13)]

    def animal(pcm: Pcm) -> list[float]:
        return simulate(network, ambient=air, power=NONE, start_c=(24, 24), horizon_h=12, at_h=shown, pcm=pcm).at(
            shown
        )[1]

    class Fine(Pcm):
        def longest_step_h(self, network: Network) -> float:
            return super().longest_step_h(network) / 40

    fine = Fine(PACK.mass_kg, PACK.latent_j_per_kg, PACK.melt_c, PACK.cp_j_per_kgk, PACK.start_c, PACK.g_w_per_k)
    assert animal(PACK) == pytest.approx(animal(fine), abs=0.01)


def test_degree_hours_of_a_triangle() -> None:
    hours = np.array([0.0, 1.0, 2.0])
    assert degree_hours_outside(hours, np.array([20.0, 10.0, 20.0]), 15.0, 30.0) == pytest.approx(2.5)
    assert degree_hours_outside(hours, np.array([31.0, 32.0, 32.0]), 15.0, 30.0) == pytest.approx(3.5)
    assert degree_hours_outside(hours, np.array([16.0, 16.0, 16.0]), 15.0, 30.0) == 0.0


def test_refusals_name_the_matter() -> None:
    with pytest.raises(BoxError, match="inside_cm"):
        box_conductance(inside_cm=(0, 1, 1), wall_mm=1, k_w_per_mk=0.03, films_w_per_m2k=(8, 8), factors=HOLMAN)
    with pytest.raises(BoxError, match="wall_mm"):
        box_conductance(inside_cm=(10, 10, 1), wall_mm=60, k_w_per_mk=0.03, films_w_per_m2k=(8, 8), factors=HOLMAN)
    with pytest.raises(BoxError, match="board_k_w_per_mk"):
        box_conductance(
            inside_cm=(10, 10, 10), wall_mm=20, k_w_per_mk=0.03, films_w_per_m2k=(8, 8), factors=HOLMAN, board_mm=4
        )
    with pytest.raises(CurveError, match="backwards"):
        Curve((1, 0), (1, 1))
    with pytest.raises(PcmTooFast):
        run(Curve.constant(0), pcm=Pcm(1e-8, 200e3, 22, 2000, 20, 5.0))
    network = Network.parcel(c_j_per_k=(300, 500), g_w_per_k=0.1, ua_w_per_k=0.3)
    with pytest.raises(DeadlinePassed):
        simulate(network, ambient=NONE, power=NONE, start_c=(20, 20), horizon_h=24, deadline=0.0)
