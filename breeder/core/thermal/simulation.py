"""Simulate the payload's temperature from hourly weather, for many members at once.

Kits without melting packs take one matrix product per leak level; melting packs and frozen heat packs are stepped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .box import FILMS, Network, network
from .first_order_hold import FINE_PER_HOUR, responses
from .kit import ThermalKit
from .phase_change import pack_regimes
from .regime_stepper import step_members
from .transition_matrices import Run

Array = NDArray[np.float64]
Weather = NDArray[np.floating[Any]]  # in double or single precision

PER_HOUR = 4  # readings an hour: the payload moves by under 0.01 K between them
# Pack power is computed for these factors on the usual energy and interpolated between them. Short of oxygen a pack
# with more energy ends hours later, which fewer factors would blur (with these rms 0.001 W, at most 0.03 W).
ENERGY_NODES = tuple(float(np.exp(0.06 * node)) for node in range(-11, 12))
PIECES_PER_HOUR = 32  # steps in which a melting pack that leaves its regime is followed
WARM_UP_H = 6  # of a heat pack: eight times its rise; afterward its power is straight over an hour


@dataclass(frozen=True)
class Surroundings:
    """The conditions of one case for all its members.

    `ambient_c` (hours + 1, N) in degC at whole hours; `start_c` (N,) in degC; `leak` and `pack_energy` (N,) multiply
    conductance and heat packs' energy; `films` names the film of each hour, None for the box's own.
    """

    ambient_c: Weather
    start_c: Array
    leak: Array
    pack_energy: Array
    films: tuple[str | None, ...]

    @property
    def hours(self) -> int:
        """Return the length of the run."""
        return len(self.ambient_c) - 1

    def only(self, who: NDArray[np.int64]) -> Surroundings:
        """Return the same for some members."""
        return Surroundings(
            self.ambient_c[:, who], self.start_c[who], self.leak[who], self.pack_energy[who], self.films
        )


@dataclass(frozen=True)
class PayloadCurves:
    """The payload at readings `hour` (M,), each member a column of `payload_c` (M, N), in degC."""

    hour: Array
    payload_c: Array
    stalled: NDArray[np.bool_]  # (N,): a heat pack froze


def surroundings(
    ambient_c: Weather,
    *,
    start_c: float | Array,
    leak: Array | None = None,
    pack_energy: Array | None = None,
    film_by_hour: Sequence[str] | None = None,
) -> Surroundings:
    """Return checked surroundings; single numbers hold for all members, and omitted factors are 1.

    Raises ValueError for shapes that do not fit, unknown films and values that are not finite.
    """
    weather = np.asarray(ambient_c)
    if weather.dtype != np.float32:
        weather = weather.astype(float, copy=False)
    if weather.ndim != 2 or len(weather) < 2 or not weather.shape[1]:
        raise ValueError("The weather must be hours + 1 rows of at least one member, and at least two rows.")
    if not np.isfinite(weather.sum(dtype=float)):  # one NaN or infinity spoils the sum; faster than testing each value
        raise ValueError("The weather has missing hours; fill or cut them before, and count the member as unknown.")
    hours, members = len(weather) - 1, weather.shape[1]
    films = (None,) * hours if film_by_hour is None else tuple(film_by_hour)
    if len(films) != hours:
        raise ValueError(f"There are films for {len(films)} hours, but the weather has {hours}.")
    unknown = sorted({film for film in films if film is not None} - set(FILMS))
    if unknown:
        raise ValueError(f"The film {unknown[0]!r} is not one of: {', '.join(FILMS)}.")
    start = np.broadcast_to(np.asarray(start_c, dtype=float), (members,))
    factors = np.ones(members) if leak is None else np.asarray(leak, dtype=float)
    energy = np.ones(members) if pack_energy is None else np.asarray(pack_energy, dtype=float)
    if factors.shape != (members,) or energy.shape != (members,):
        raise ValueError(f"Leak and pack energy must be given for each of the {members} members.")
    return Surroundings(weather, start, factors, energy, films)


def simulate(
    kit: ThermalKit,
    ambient_c: Weather,
    *,
    start_c: float | Array,
    leak: Array | None = None,
    pack_energy: Array | None = None,
    film_by_hour: Sequence[str] | None = None,
    per_hour: int = PER_HOUR,
) -> PayloadCurves:
    """Return the payload's temperature over the run for each member.

    Assumes weather straight between whole hours and everything at `start_c` (number or (N,)) at hour 0, melting packs
    at their own start. `ambient_c` (hours + 1, N) in degC, finite: the caller deals with missing hours.
    `leak` (N,) multiplies the box's conductance, `pack_energy` (N,) the heat packs' energy. `film_by_hour`: one of
    `box.FILMS` for each of the hours; without it the box's own film. `per_hour` readings: 1, 2 or 4; without melting
    packs also 12. Raises ValueError for shapes that do not fit or values that are not finite.
    """
    around = surroundings(ambient_c, start_c=start_c, leak=leak, pack_energy=pack_energy, film_by_hour=film_by_hour)
    return simulate_cases(kit, [around], per_hour=per_hour)[0]


def simulate_cases(kit: ThermalKit, cases: Sequence[Surroundings], *, per_hour: int = PER_HOUR) -> list[PayloadCurves]:
    """Return what `inside` returns, for several cases; melting packs are stepped through all cases together."""
    if kit.phase_change_packs:
        return _stepped(kit, cases, per_hour)
    results = [_multiplied(kit, case, per_hour) for case in cases]
    return _with_stalls(kit, results, cases, per_hour) if kit.heat_packs else results


@lru_cache(maxsize=512)
def _networks(kit: ThermalKit, film: str | None, levels: tuple[float, ...]) -> tuple[Network, ...]:
    base = network(kit, None if film is None else FILMS[film])
    return tuple(base.leaking(level) for level in levels)


@lru_cache(maxsize=48)
def response_matrix(
    kit: ThermalKit, films: tuple[str | None, ...], levels: tuple[float, ...], per_hour: int, node: int = 1
) -> Array:
    """Return the response matrix (levels, readings, columns) of a kit to weather, start and pack power."""
    power = None
    if kit.heat_packs:
        knots = np.arange(len(films) * FINE_PER_HOUR + 1) / FINE_PER_HOUR
        power = np.stack([heat_packs.kit_power_w(kit, knots, energy) for energy in ENERGY_NODES])
    return responses(tuple(_networks(kit, film, levels) for film in films), power, per_hour, node)


def energy_weights(energy: Array) -> Array:
    """Return (nodes, N): the weight of each power series for a member with that pack energy."""
    nodes = np.array(ENERGY_NODES)
    left = np.clip(np.searchsorted(nodes, energy) - 1, 0, len(nodes) - 2)
    share = (energy - nodes[left]) / (nodes[left + 1] - nodes[left])
    weights = np.zeros((len(nodes), len(energy)))
    member = np.arange(len(energy))
    weights[left, member], weights[left + 1, member] = 1.0 - share, share
    return weights


def _multiplied(kit: ThermalKit, case: Surroundings, per_hour: int, node: int = 1) -> PayloadCurves:
    levels, which = np.unique(case.leak, return_inverse=True)
    matrix = response_matrix(kit, case.films, tuple(float(level) for level in levels), per_hour, node)
    packs = [energy_weights(case.pack_energy)] if kit.heat_packs else []
    # Members are rows sorted by level, so that each product reads and writes memory in order.
    order = np.argsort(which, kind="stable")
    rows = np.concatenate([*packs, case.start_c[None], case.ambient_c]).T[order]
    ends = np.cumsum(np.bincount(which, minlength=len(levels)))
    products = [block @ each.T for block, each in zip(np.split(rows, ends[:-1]), matrix, strict=True)]
    curves = np.concatenate(products)[np.argsort(order)]
    return PayloadCurves(np.arange(curves.shape[1]) / per_hour, curves.T, np.zeros(len(which), bool))


def _with_stalls(
    kit: ThermalKit, results: list[PayloadCurves], cases: Sequence[Surroundings], per_hour: int
) -> list[PayloadCurves]:
    """Return the same results, with members whose heat pack freezes stepped instead, all cases together."""
    frozen = [_freezing(kit, case, per_hour) for case in cases]
    hit = [place for place, who in enumerate(frozen) if len(who)]
    if not hit:
        return results
    mended = list(results)
    for place, again in zip(hit, _stepped(kit, [cases[at].only(frozen[at]) for at in hit], per_hour), strict=True):
        payload, stalled = results[place].payload_c.copy(), results[place].stalled.copy()
        payload[:, frozen[place]], stalled[frozen[place]] = again.payload_c, again.stalled
        mended[place] = PayloadCurves(results[place].hour, payload, stalled)
    return mended


def _freezing(kit: ThermalKit, case: Surroundings, per_hour: int) -> NDArray[np.int64]:
    """Return the members whose heat pack freezes if it has worked until then."""
    freezing = heat_packs.FREEZING_C
    cold = np.flatnonzero((case.ambient_c.min(axis=0) < freezing) | (case.start_c < freezing))
    if not len(cold):
        return cold
    air = _multiplied(kit, case.only(cold), per_hour, node=0)
    power = heat_packs.kit_power_w(kit, air.hour[:, None], case.pack_energy[cold])
    return cold[heat_packs.stalled(np.zeros(power.shape, bool), air.payload_c, power).any(axis=0)]


def _stepped(kit: ThermalKit, cases: Sequence[Surroundings], per_hour: int) -> list[PayloadCurves]:
    """Step all cases together in blocks of an hour or less; anything after the end of a shorter case is cut off."""
    if PER_HOUR % per_hour:
        raise ValueError(
            f"There are {per_hour} readings an hour, but with such packs the number must divide {PER_HOUR}."
        )
    hours = max(case.hours for case in cases)
    joined = [np.pad(case.ambient_c, ((0, hours - case.hours), (0, 0)), mode="edge") for case in cases]
    weather = np.concatenate(joined, axis=1)
    knots = _knots(kit, weather.min(axis=1))
    at = np.minimum(knots.astype(int), hours - 1)
    share = (knots - at)[:, None]
    outside = weather[at] * (1.0 - share) + weather[at + 1] * share
    energy = np.concatenate([case.pack_energy for case in cases])
    power = heat_packs.kit_power_w(kit, knots[:, None], energy) if kit.heat_packs else None
    start = np.concatenate([case.start_c for case in cases])
    until = np.repeat([case.hours for case in cases], [len(case.leak) for case in cases])
    trace = step_members(_run(kit, cases, knots, at[:-1]), outside, power, start, until_h=until)
    reading = np.arange(0, hours * PER_HOUR + 1, PER_HOUR // per_hour)
    ends = np.cumsum([len(case.leak) for case in cases])[:-1]
    payloads, stalls = np.split(trace.payload_c[reading], ends, axis=1), np.split(trace.stalled, ends)
    return [
        PayloadCurves(trace.hour[reading][: case.hours * per_hour + 1], payload[: case.hours * per_hour + 1], stalled)
        for case, payload, stalled in zip(cases, payloads, stalls, strict=True)
    ]


def _run(kit: ThermalKit, cases: Sequence[Surroundings], knots: Array, at: NDArray[np.int64]) -> Run:
    """Return the run, with one group for each case and leak level; `at` (K-1,) is the hour of each block."""
    names = tuple(dict.fromkeys(film for case in cases for film in case.films))
    levels, level = np.unique(np.concatenate([case.leak for case in cases]), return_inverse=True)
    case_index = np.repeat(np.arange(len(cases)), [len(case.leak) for case in cases])
    groups, group = np.unique(case_index * len(levels) + level, return_inverse=True)
    film = [[names.index(case.films[min(hour, case.hours - 1)]) for case in cases] for hour in at]
    regimes = pack_regimes(kit.phase_change_packs)
    per_piece = PIECES_PER_HOUR if regimes.packs else PER_HOUR
    return Run(
        networks=tuple(_networks(kit, name, tuple(float(value) for value in levels)) for name in names),
        regimes=regimes,
        hour=knots,
        pieces=np.rint(np.diff(knots) * per_piece).astype(int),
        every=per_piece // PER_HOUR,
        group=group,
        level=groups % len(levels),
        film=np.array(film)[:, groups // len(levels)],
    )


def _knots(kit: ThermalKit, coldest_c: Array) -> Array:
    """Return the ends of the blocks: hours, but quarters until heat packs are warm and where frost may stop them.

    `coldest_c` (hours + 1,): the coldest member at each hour.
    """
    hour = np.arange(len(coldest_c))
    if not kit.heat_packs:
        return hour.astype(float)
    warm = max(pack.lit_h for pack in kit.heat_packs) + WARM_UP_H
    frost = np.minimum(coldest_c[:-1], coldest_c[1:]) < heat_packs.FREEZING_C
    fine = np.repeat((hour[:-1] < warm) | frost, PER_HOUR)
    quarters = np.arange(len(fine)) / PER_HOUR
    return np.append(quarters[fine | (quarters % 1 == 0)], hour[-1])
