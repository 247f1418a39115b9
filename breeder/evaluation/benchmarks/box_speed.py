"""`manage.py bench heat`: the box model against a loop over an adaptive solver; one process, one BLAS thread."""

from __future__ import annotations

import os
import time
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from breeder.core.thermal.batch import sweep
from breeder.core.thermal.box import Network, simple_network
from breeder.core.thermal.ensemble_draws import draws
from breeder.core.thermal.evaluate_kit import AmbientCase, try_kit
from breeder.core.thermal.kit import HeatPack, Payload, PhaseChangePack, ShippingBox, ThermalKit, WallLayer
from breeder.core.thermal.simulation import simulate
from breeder.core.thermal.verdict import Limits, Tolerance

Array = NDArray[np.float64]

HOURS = 96
LINEAR_MEMBERS = 40_000
MELTING_MEMBERS = 12_000
SOLVED = 20
RUNS = 3
LOW_C, HIGH_C = 7.0, 29.0
PARCEL_MEMBERS = 200
BOARD = WallLayer("corrugated", 4)
INNER_M = (0.25, 0.20, 0.15)
PAYLOAD = Payload(0.45, cups=8)
EASY = Network(payload_w_k=1.5, air_j_k=600.0, payload_j_k=2500.0, wall_w_k=(0.5,))


def run() -> dict[str, Any]:
    """Return simulations per second of linear and melting kits, their ratio to the loop, and one parcel's time."""
    begun, begun_cpu = time.perf_counter(), time.process_time()
    weather = _weather(LINEAR_MEMBERS)
    foam = ThermalKit(ShippingBox(INNER_M, (WallLayer("eps", 19), BOARD)), PAYLOAD)
    melting = ThermalKit(foam.box, PAYLOAD, packs=(PhaseChangePack(0.45, 22, 190, 20),))
    loop = _loop_per_second(simple_network(foam), weather)
    easy = _loop_per_second(EASY, weather)
    linear = LINEAR_MEMBERS / _median(lambda: sweep(foam, weather, low_c=LOW_C, high_c=HIGH_C, start_c=21.0))
    few = weather[:MELTING_MEMBERS].T.astype(float)
    melted = MELTING_MEMBERS / _median(lambda: simulate(melting, few, start_c=21.0))
    return {
        "subject": "heat",
        "hours": HOURS,
        "baseline": "scipy solve_ivp RK45, rtol 1e-6, max_step 1 h, one member after another",
        "baseline_per_second": loop,
        "baseline_easy_per_second": easy,
        "baseline_easy": "the same loop on a two-node box with 600 J/K of air, which lets the solver take longer steps",
        "linear_per_second": linear,
        "linear_ratio": linear / loop,
        "linear_ratio_easy": linear / easy,
        "linear_limit": (
            "a third of the time is one matrix product in single precision, half of it reading extremes and crossings "
            "at 193 half-hours; hourly ones would be half as fast again and miss up to 0.06 K and 0.7 h near a limit"
        ),
        "phase_change_per_second": melted,
        "phase_change_ratio": melted / loop,
        "parcel_eight_kits_ms": 1000 * _median(lambda: _parcel(weather)),
        "measured_in": "processor seconds of this process, so that what else runs on the machine counts little",
        "cpu_s": time.process_time() - begun_cpu,
        "wall_s": time.perf_counter() - begun,
        "load": list(os.getloadavg()) if hasattr(os, "getloadavg") else None,
        "blas_threads": os.environ.get("OPENBLAS_NUM_THREADS", "not set"),
    }


def _weather(members: int) -> NDArray[np.float32]:
    """Return made-up days and nights with random means, swings and noise, degC, (members, hours + 1)."""
    rng = np.random.default_rng(1)
    hour = np.arange(HOURS + 1)
    swing = rng.uniform(3, 9, (members, 1)) * np.cos(2 * np.pi * (hour - 15) / 24)
    drift = np.cumsum(rng.normal(0, 0.4, (members, HOURS + 1)), axis=1)
    return (rng.uniform(2, 24, (members, 1)) + swing + drift).astype(np.float32)


def _loop_per_second(net: Network, weather: NDArray[np.float32]) -> float:
    """Return how many members per second the adaptive solver does, one after another."""
    return SOLVED / _median(lambda: [_solve(net, weather[member]) for member in range(SOLVED)], 1)


def _solve(net: Network, weather: Array) -> tuple[float, float, float, float]:
    """Return extremes and hours outside the band of one member, by the adaptive solver on a two-node box."""
    hour = np.arange(HOURS + 1)

    def slope(second: float, state: Array) -> tuple[float, float]:
        outside = np.interp(second / 3600.0, hour, weather)
        air, goods = state
        flow = net.payload_w_k * (goods - air)
        return (net.outside_w_k * (outside - air) + flow) / net.air_j_k, -flow / net.payload_j_k

    at = np.arange(0, HOURS * 3600 + 1, 900.0)
    goods = solve_ivp(slope, (0, HOURS * 3600), (21.0, 21.0), rtol=1e-6, max_step=3600.0, t_eval=at).y[1]
    return goods.min(), goods.max(), float(np.mean(goods < LOW_C)) * HOURS, float(np.mean(goods > HIGH_C)) * HOURS


def _parcel(weather: NDArray[np.float32]) -> None:
    """Try eight kits for one parcel with 200 members in three delay cases, with full results."""
    drawn = draws(7, PARCEL_MEMBERS)
    ambient = weather[:PARCEL_MEMBERS]
    cases = [
        AmbientCase(name, weight, ambient[:, : hours + 1])
        for name, weight, hours in (("on time", 0.87, 48), ("1 day late", 0.09, 72), ("2 days late", 0.04, 96))
    ]
    limits = Limits(LOW_C, HIGH_C, 4, 0, 36)
    for kit in _usual_kits():
        try_kit(kit, cases, limits, Tolerance(), start_c=21.0, draws=drawn)


def _usual_kits() -> list[ThermalKit]:
    """Return the usual kits: card, foil, foam of two thicknesses, with and without packs."""
    warmer, melting = HeatPack(72, 125), PhaseChangePack(0.45, 22, 190, 20)
    thin, thick, foil = WallLayer("eps", 19), WallLayer("eps", 38.1), WallLayer("foil_bubble", 8)
    walls = ((BOARD,), (foil, BOARD), (thin, BOARD), (thick, BOARD))
    plain = [ThermalKit(ShippingBox(INNER_M, wall), PAYLOAD) for wall in walls]
    warm = [ThermalKit(ShippingBox(INNER_M, wall, air_changes_h=1.5), PAYLOAD, packs=(warmer,)) for wall in walls[2:]]
    return [*plain, *warm, ThermalKit(plain[2].box, PAYLOAD, 0.5), ThermalKit(plain[2].box, PAYLOAD, packs=(melting,))]


def _median(do: Any, runs: int = RUNS) -> float:
    """Return the median processor seconds of some runs, after one run that fills the caches.

    Everything runs in one thread, so on an idle machine processor seconds are seconds.
    """
    if runs > 1:
        do()
    times = []
    for _ in range(runs):
        begun = time.process_time()
        do()
        times.append(time.process_time() - begun)
    return float(np.median(times))
