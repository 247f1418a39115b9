"""Compute extremes and hours outside the band for many members of one kit, without keeping their curves.

Each member is a row. One block of members at a time is multiplied by the response matrix in single precision
(0.0001 K). The board reads the result every half hour, a check every quarter of an hour. Between half-hourly readings
extremes are read from a parabola; crossings of a limit always from a straight line. The product leaves out responses
that have not begun or have died away.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .kit import ThermalKit
from .packs import FAINT_W, FREEZING_C, PACK_FACE_W_K, kit_power_w
from .regime_stepper import AIR, PAYLOAD
from .simulation import PER_HOUR as LONGER_PER_HOUR
from .simulation import Surroundings, Weather, energy_weights, response_matrix, simulate_cases, surroundings

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Whole = NDArray[np.int64]

PER_HOUR = 2
MEMBERS_AT_ONCE = 1024  # their readings (0.8 MB for four days) stay in the processor's cache
STRIP_H = 12  # half a day of readings is multiplied only by the columns that matter to it
DIED_AWAY = 1e-6  # K of response to 1 K; anything smaller is left out
NEAR_FREEZING_K = 0.01  # a hundred times the rounding of single precision


@dataclass(frozen=True)
class SweepResult:
    """What each member goes through, arrays (N,): extremes in degC with their hours, and hours outside the band.

    `left_below`, `left_above`: the first reading outside the band on that side, h, NaN where there is none;
    `stalled`: 1 where a heat pack froze, else 0.
    """

    coldest_c: Array
    coldest_hour: Array
    warmest_c: Array
    warmest_hour: Array
    hours_below: Array
    hours_above: Array
    left_below: Array
    left_above: Array
    stalled: Array

    @classmethod
    def empty(cls, members: int) -> SweepResult:
        """Return a result for members that have not been simulated yet."""
        swept = cls(*(np.zeros(members) for _ in fields(cls)))
        swept.left_below[:] = swept.left_above[:] = np.nan
        return swept


@dataclass(frozen=True)
class _Part:
    """Some rows of a response matrix, and only the columns that matter to them."""

    rows: slice
    columns: slice
    matrix: Single  # (columns, rows)


def sweep(
    kit: ThermalKit,
    ambient_c: Weather,
    *,
    low_c: float,
    high_c: float,
    start_c: float | Array,
    leak: Array | None = None,
    pack_energy: Array | None = None,
    film_by_hour: Sequence[str] | None = None,
) -> SweepResult:
    """Return extremes and hours outside [low_c, high_c] of each member.

    `ambient_c` (N, hours + 1): a member per row, degC at whole hours, finite; the rest as in `simulation.inside`.
    Kits with melting packs, and members whose heat pack may freeze, are simulated step by step instead.
    Raises ValueError as `inside` does.
    """
    weather: Weather = np.asarray(ambient_c).T
    around = surroundings(weather, start_c=start_c, leak=leak, pack_energy=pack_energy, film_by_hour=film_by_hour)
    return sweep_cases(kit, [around], low_c=low_c, high_c=high_c)[0]


def sweep_cases(
    kit: ThermalKit, cases: Sequence[Surroundings], *, low_c: float, high_c: float, per_hour: int = PER_HOUR
) -> list[SweepResult]:
    """Return what `sweep` returns, for several cases of one kit; members that need single steps are stepped together.

    `per_hour` readings: 2, or 4 where extremes must be right to 0.01 K.
    """
    results = [SweepResult.empty(len(case.leak)) for case in cases]
    if kit.phase_change_packs:
        _read_marched(kit, cases, low_c, high_c, [np.arange(len(case.leak)) for case in cases], results)
        return results
    for case, result in zip(cases, results, strict=True):
        for who, curves in _blocks(kit, case, np.arange(len(case.leak)), per_hour):
            _read(curves, per_hour, low_c, high_c, who, result)
    if kit.heat_packs:
        _read_marched(kit, cases, low_c, high_c, [_may_freeze(kit, case) for case in cases], results)
    return results


def _may_freeze(kit: ThermalKit, around: Surroundings) -> Whole:
    """Return the members whose heat pack may freeze; all others are warm enough whatever the rounding.

    A pack is warmer than the air in proportion to its power; the weakest member's power is used. A spent pack cannot
    freeze.
    """
    cold = np.flatnonzero((around.ambient_c.min(axis=0) < FREEZING_C) | (around.start_c < FREEZING_C))
    if not len(cold):
        return cold
    hour = np.arange(around.hours * LONGER_PER_HOUR + 1) / LONGER_PER_HOUR
    weak, strong = (kit_power_w(kit, hour, float(pick(around.pack_energy[cold]))) for pick in (np.min, np.max))
    lead = np.where(strong > FAINT_W, weak / PACK_FACE_W_K - NEAR_FREEZING_K, np.inf).astype(np.float32)
    freezing = [
        who[(air + lead).min(axis=1) < FREEZING_C] for who, air in _blocks(kit, around, cold, LONGER_PER_HOUR, AIR)
    ]
    return np.sort(np.concatenate(freezing))


def _read_marched(
    kit: ThermalKit,
    cases: Sequence[Surroundings],
    low_c: float,
    high_c: float,
    members: Sequence[Whole],
    results: list[SweepResult],
) -> None:
    """Fill in the results of members that are simulated step by step, read every quarter of an hour."""
    places = [place for place, who in enumerate(members) if len(who)]
    if not places:
        return
    marched = simulate_cases(kit, [cases[place].only(members[place]) for place in places], per_hour=LONGER_PER_HOUR)
    for place, each in zip(places, marched, strict=True):
        who, result = members[place], results[place]
        result.stalled[who] = each.stalled
        for begin in range(0, len(who), MEMBERS_AT_ONCE):
            block = slice(begin, begin + MEMBERS_AT_ONCE)
            curves = np.ascontiguousarray(each.payload_c[:, block].T, np.float32)
            _read(curves, LONGER_PER_HOUR, low_c, high_c, who[block], result)


def _blocks(
    kit: ThermalKit, around: Surroundings, members: Whole, per_hour: int = PER_HOUR, node: int = PAYLOAD
) -> Iterator[tuple[Whole, Single]]:
    """Yield one node's curves (members, readings) in degC, block by block, each with its members."""
    levels, which = np.unique(around.leak, return_inverse=True)
    key = tuple(float(level) for level in levels)
    # Sorted by level, so that one product serves many neighbors, and one pass of reading serves many products.
    level_of = which.astype(np.int16)[members]
    order = np.argsort(level_of, kind="stable")
    in_order, level_of = members[order], level_of[order]
    parts = {level: _parts(kit, around.films, key, level, per_hour, node) for level in np.unique(level_of).tolist()}
    for begin in range(0, len(in_order), MEMBERS_AT_ONCE):
        who, levels_here = in_order[begin : begin + MEMBERS_AT_ONCE], level_of[begin : begin + MEMBERS_AT_ONCE]
        given = _given(kit, around, who)
        curves = np.empty((len(who), around.hours * per_hour + 1), np.float32)
        for level, own_parts in parts.items():
            first, last = np.searchsorted(levels_here, (level, level + 1))
            for part in own_parts if first < last else ():
                np.matmul(given[first:last, part.columns], part.matrix, out=curves[first:last, part.rows])
        yield who, curves


@lru_cache(maxsize=1024)  # about 40 kB each: all kits, films and levels of a board
def _parts(
    kit: ThermalKit, films: tuple[str | None, ...], levels: tuple[float, ...], level: int, per_hour: int, node: int
) -> tuple[_Part, ...]:
    """Return the matrix in strips of half a day, each with only the columns that matter to it."""
    ordered = response_matrix(kit, films, levels, per_hour, node)[level]
    rows_at_once = STRIP_H * per_hour
    parts = []
    for begin in range(0, len(ordered), rows_at_once):
        rows = slice(begin, min(begin + rows_at_once, len(ordered)))
        alive = np.flatnonzero(np.abs(ordered[rows]).max(axis=0) > DIED_AWAY)
        columns = slice(int(alive[0]), int(alive[-1]) + 1)
        parts.append(_Part(rows, columns, np.ascontiguousarray(ordered[rows, columns].T, dtype=np.float32)))
    return tuple(parts)


def _given(kit: ThermalKit, around: Surroundings, who: Whole) -> Single:
    """Return what the matrix is multiplied by, (members, columns): shares of the packs' power, start, weather."""
    series = energy_weights(around.pack_energy[who]).T if kit.heat_packs else np.empty((len(who), 0))
    given = np.empty((len(who), series.shape[1] + 2 + around.hours), np.float32)
    given[:, : series.shape[1]] = series
    given[:, series.shape[1]] = around.start_c[who]
    given[:, series.shape[1] + 1 :] = around.ambient_c.T[who]
    return given


def _read(curves: Single, per_hour: int, low_c: float, high_c: float, who: Whole, result: SweepResult) -> None:
    """Fill in the results of one block of members."""
    coldest, warmest = curves.argmin(axis=1), curves.argmax(axis=1)
    result.coldest_c[who], result.coldest_hour[who] = _extreme(curves, coldest, per_hour)
    result.warmest_c[who], result.warmest_hour[who] = _extreme(curves, warmest, per_hour)
    result.hours_below[who], result.left_below[who] = _hours(curves, coldest, np.less, low_c, per_hour)
    result.hours_above[who], result.left_above[who] = _hours(curves, warmest, np.greater, high_c, per_hour)


def _extreme(curves: Single, at: Whole, per_hour: int) -> tuple[Array, Array]:
    """Return each row's extreme and its hour, on the parabola through the extreme reading `at` and its neighbors.

    Quarter-hourly readings are taken as they are: packs that melt or stall put kinks into the curve.
    """
    flat, last = curves.ravel(), curves.shape[1] - 1
    place = np.arange(len(curves)) * (last + 1) + at
    extreme = flat[place].astype(float)
    before = flat[place - (at > 0)] - extreme
    after = flat[place + (at < last)] - extreme
    total = before + after
    inner = (at > 0) & (at < last) & (total != 0.0) & (per_hour < LONGER_PER_HOUR)
    lean = np.where(inner, before - after, 0.0)
    bend = np.where(inner, total, 1.0)
    return extreme - lean**2 / (8.0 * bend), (at + lean / (2.0 * bend)) / per_hour


def _hours(curves: Single, extreme: Whole, is_beyond: np.ufunc, limit_c: float, per_hour: int) -> tuple[Array, Array]:
    """Return each row's hours beyond a limit and the hour of its first reading beyond it.

    `extreme` is the place of each row's extreme reading. The hours are the times of leaving less the times of entering,
    on straight lines.
    """
    limit = np.float32(limit_c)
    all_hours, all_first = np.zeros(len(curves)), np.full(len(curves), np.nan)
    rows = np.flatnonzero(is_beyond(curves[np.arange(len(curves)), extreme], limit))
    if not len(rows):
        return all_hours, all_first
    values = curves if len(rows) == len(curves) else curves[rows]
    readings = values.shape[1]
    beyond = is_beyond(values, limit)
    hours = np.where(beyond[:, -1], (readings - 1) / per_hour, 0.0)
    flags, values = beyond.ravel(), values.ravel()
    changes = flags[1:] != flags[:-1]
    changes[readings - 1 :: readings] = False  # from the end of a member to the start of the next
    at = np.flatnonzero(changes)
    row = at // readings
    begin, end = values[at] - limit, values[at + 1] - limit
    when = (at - row * readings + begin / (begin - end)) / per_hour
    all_hours[rows] = hours + np.bincount(row, np.where(flags[at], when, -when), minlength=len(rows))
    all_first[rows] = beyond.argmax(axis=1) / per_hour
    return all_hours, all_first
