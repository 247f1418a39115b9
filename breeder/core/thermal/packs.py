"""Model air-activated heat packs: their energy, their power over time, and the oxygen that they share.

We know of no published calorimetry of shipping packs: shape and masses are assumptions until the keeper weighs a pack.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .kit import HeatPack, ThermalKit
from .materials import IRON_HEAT_KJ_G, OXYGEN_HEAT_KJ_G, SECONDS_PER_HOUR

# Total mass by printed hours (memory, low confidence; the keeper may enter the weight).
RATED_H = (20.0, 40.0, 60.0, 72.0, 96.0)
RATED_GRAMS = (60.0, 90.0, 110.0, 125.0, 150.0)
IRON_SHARE = 0.50  # US patent 5,918,590 claims 30-80 %; typical 50-60 %
IRON_USED = 0.85  # judgment

RISE_H = 0.75  # time constant of warming up; 63 % of full power after 45 minutes
DROOP = 0.35  # share of power lost over the plateau
PLATEAU_SHARE = 0.85  # length of the plateau as a share of the printed hours
TAIL_SHARE = 0.10  # time constant of the end, as a share of the printed hours

OXYGEN_G_MOL = 31.998
LITRES_PER_MOL = 24.465  # at 25 degC, 1 atm
OXYGEN_IN_AIR = 0.2095
LOW_OXYGEN = 0.15  # far below this animals tolerate less heat (Stevens 2010: P. scaber 10.6 K less at 2.5 %)
PACK_FACE_W_K = 0.16  # two faces of 10 x 13 cm at 6 W/m2K (judgment): how far a working pack is above the air
MOST_STEPS, CLOSE_H = 50, 1e-9  # limits when solving for the time that a pack burns
FAINT_W = 0.25  # below this a pack is nearly spent, and freezing makes no difference
FREEZING_C = 0.0  # a pack whose own water freezes stalls (growers' tests)


def grams(pack: HeatPack) -> float:
    """Return the mass of the pack in grams: as entered, else interpolated from the table by printed hours."""
    return pack.grams if pack.grams is not None else float(np.interp(pack.rated_h, RATED_H, RATED_GRAMS))


def energy_kj(pack: HeatPack) -> float:
    """Return the heat in the pack, kJ: mass x iron share x used share x 7.2 kJ/g. Check: 125 g gives 382.5."""
    return grams(pack) * IRON_SHARE * IRON_USED * IRON_HEAT_KJ_G


def mean_w(pack: HeatPack) -> float:
    """Return the energy spread evenly over the printed hours, W. Check: 72 h, 125 g gives 1.476."""
    return energy_kj(pack) * 1000.0 / (pack.rated_h * SECONDS_PER_HOUR)


def curve(age_h: ArrayLike, rated_h: float) -> NDArray[np.float64]:
    """Return the power curve before scaling, at hours since opening (any shape); 0 before opening."""
    age = np.maximum(np.asarray(age_h, dtype=float), 0.0)
    end = PLATEAU_SHARE * rated_h
    plateau = 1.0 - DROOP * np.minimum(age, end) / end
    tail = np.exp(-np.maximum(age - end, 0.0) / (TAIL_SHARE * rated_h))
    power: NDArray[np.float64] = -np.expm1(-age / RISE_H) * plateau * tail
    return power


def burnt_hours(age_h: ArrayLike, rated_h: float) -> NDArray[np.float64]:
    """Return the integral of the curve from opening to an age in hours (any shape), h."""
    end, rise, tail = PLATEAU_SHARE * rated_h, RISE_H, TAIL_SHARE * rated_h
    age = np.maximum(np.asarray(age_h, dtype=float), 0.0)
    plateau, beyond = np.minimum(age, end), np.maximum(age - end, 0.0)
    gone = np.exp(-plateau / rise)
    whole = plateau * (1.0 - DROOP / 2.0 * plateau / end)
    # integral of exp(-t/rise) (1 - DROOP t/end) from 0 to the age
    warming = rise * (1.0 - gone) - DROOP / end * (rise**2 * (1.0 - gone) - rise * plateau * gone)
    both = 1.0 / (1.0 / tail + 1.0 / rise)
    after = tail * -np.expm1(-beyond / tail) - math.exp(-end / rise) * both * -np.expm1(-beyond / both)
    integral: NDArray[np.float64] = whole - warming + (1.0 - DROOP) * after
    return integral


def curve_hours(rated_h: float) -> float:
    """Return the integral of the curve over all time, h. Check: 72 h gives 54.4232."""
    return float(burnt_hours(math.inf, rated_h))


def _watts(pack: HeatPack) -> float:
    """Return the power where the curve is 1, W."""
    return energy_kj(pack) * 1000.0 / (SECONDS_PER_HOUR * curve_hours(pack.rated_h))


def power_w(pack: HeatPack, hour: ArrayLike) -> NDArray[np.float64]:
    """Return the power with plenty of oxygen at hours of the run, W. Check: 72 h, 125 g, 18 h after opening 1.751."""
    return _watts(pack) * curve(np.asarray(hour, dtype=float) - pack.lit_h, pack.rated_h)


def oxygen_use_l_h(power: ArrayLike) -> NDArray[np.float64]:
    """Return the oxygen used, liters an hour at 25 degC. Check: 1.42 W gives 0.228."""
    gram_h = np.asarray(power, dtype=float) * SECONDS_PER_HOUR / (OXYGEN_HEAT_KJ_G * 1000.0)
    return gram_h / OXYGEN_G_MOL * LITRES_PER_MOL


def oxygen_share(power: ArrayLike, air_changes_h: float, free_litres: float) -> NDArray[np.float64]:
    """Return the share of full power, and of outside oxygen, that is left in the box: 1/(1 + q/(n V 0.2095)).

    Assumes power proportional to oxygen and a steady state. `power`: what all packs together would give, W.
    Raises ValueError without any air. Check: 1.42 W, 0.5 changes an hour, 10 liters give 0.821. Source: oxygen balance
    of the box.
    """
    return 1.0 / (1.0 + oxygen_use_l_h(power) / _supply_l_h(air_changes_h, free_litres))


def _supply_l_h(air_changes_h: float, free_litres: float) -> float:
    supply = air_changes_h * free_litres * OXYGEN_IN_AIR
    if supply <= 0.0:
        raise ValueError("Air changes and free volume must be above 0 for a heat pack to burn.")
    return supply


@dataclass(frozen=True)
class Burning:
    """Heat packs at work: the share of oxygen left, and the power of each pack, W; arrays of one shape."""

    share: NDArray[np.float64]
    power_w: tuple[NDArray[np.float64], ...]


def burn(
    packs: Sequence[HeatPack],
    hour: ArrayLike,
    *,
    air_changes_h: float,
    free_litres: float | None,
    energy: float | NDArray[np.float64] = 1.0,
) -> Burning:
    """Return how the packs of one box burn at hours of the run from 0 on, shape of `hour` broadcast with `energy`.

    Lack of oxygen lowers their power but not their energy: a pack that gets half of the oxygen ages half as fast along
    its curve. Before hour 0 a pack burns in the open. `energy` multiplies the energy of every pack; `free_litres`
    (liters) None means plenty of oxygen. Raises ValueError without any air.
    """
    hours, factor = np.broadcast_arrays(np.asarray(hour, dtype=float), np.asarray(energy, dtype=float))
    if free_litres is None or not packs:
        return Burning(np.ones(hours.shape), tuple(factor * power_w(pack, hours) for pack in packs))
    supply = _supply_l_h(air_changes_h, free_litres)
    ages = [np.full(hours.shape, max(-pack.lit_h, 0.0)) for pack in packs]
    starts = sorted({0.0, *(pack.lit_h for pack in packs if pack.lit_h > 0.0)})
    for start, end in zip(starts, [*starts[1:], math.inf], strict=True):
        lit = [place for place, pack in enumerate(packs) if pack.lit_h <= start]
        spent = np.clip(hours, start, end) - start
        burnt = _burning_time([(packs[place], ages[place]) for place in lit], factor / supply, spent)
        for place in lit:
            ages[place] = ages[place] + burnt
    wanted = [factor * _watts(pack) * curve(age, pack.rated_h) for pack, age in zip(packs, ages, strict=True)]
    share = oxygen_share(sum(wanted, np.zeros(hours.shape)), air_changes_h, free_litres)
    return Burning(share, tuple(share * each for each in wanted))


def _burning_time(
    lit: Sequence[tuple[HeatPack, NDArray[np.float64]]], per_supply: NDArray[np.float64], spent: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how many hours packs of given ages advance along their curves in `spent` hours.

    Solves u + (oxygen used in u) / supply = spent by Newton's method, kept between the values for the greatest lack of
    oxygen and for none.
    """
    use = [oxygen_use_l_h(_watts(pack)) * per_supply for pack, _ in lit]
    high, low = spent, spent / (1.0 + sum(use, np.zeros_like(spent)))
    before = [burnt_hours(age, pack.rated_h) for pack, age in lit]
    time = low
    for _ in range(MOST_STEPS):
        gone, slope = time - spent, np.ones_like(spent)
        for (pack, age), used, begun in zip(lit, use, before, strict=True):
            gone = gone + used * (burnt_hours(age + time, pack.rated_h) - begun)
            slope = slope + used * curve(age + time, pack.rated_h)
        low, high = np.where(gone < 0.0, time, low), np.where(gone > 0.0, time, high)
        time = np.clip(time - gone / slope, low, high)
        if np.max(np.abs(gone), initial=0.0) < CLOSE_H:
            break
    return time


def together_w(
    packs: Sequence[HeatPack],
    hour: ArrayLike,
    *,
    air_changes_h: float,
    free_litres: float | None,
    energy: float | NDArray[np.float64] = 1.0,
) -> NDArray[np.float64]:
    """Return the power of all packs in one box at hours of the run, W, shape of `hour` broadcast with `energy`.

    `energy` multiplies the energy of every pack; `free_litres` (liters) None means plenty of oxygen.
    """
    burning = burn(packs, hour, air_changes_h=air_changes_h, free_litres=free_litres, energy=energy)
    return sum(burning.power_w, np.zeros_like(burning.share))


def kit_power_w(kit: ThermalKit, hour: ArrayLike, energy: float | NDArray[np.float64] = 1.0) -> NDArray[np.float64]:
    """Return the power of the kit's heat packs at hours of the run, W, limited by the oxygen of its box."""
    return together_w(
        kit.heat_packs, hour, air_changes_h=kit.box.air_changes_h, free_litres=kit.free_litres, energy=energy
    )


def stalled(before: NDArray[np.bool_], air_c: NDArray[np.float64], power: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which packs are frozen now, given which were before: arrays with one value per member.

    A working pack is warmer than the air by its power divided by the conductance of its faces, and stalls when it is
    still below freezing. A stalled pack has the temperature of the air and starts again once the air is above freezing.
    `power`: what the pack would give, W.
    """
    lead = np.where(before, 0.0, power / PACK_FACE_W_K)
    return (air_c + lead < FREEZING_C) & (power > FAINT_W)
