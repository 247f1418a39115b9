"""Extremes and hours outside the band for a great many members of one kit, without keeping their curves.

Members lie row by row, one block at a time passes through the response matrix in single precision (0.0001 K), read
every half hour by the board and every quarter by a check; between half hours extremes lie on a parabola, and crossings
always on a straight line. What it leaves out of the product are responses that have not begun or have died away.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .kit import Kit
from .packs import FAINT_W, FREEZING_C, PACK_FACE_W_K, kit_power_w
from .regime_stepper import AIR, PAYLOAD
from .simulation import PER_HOUR as LONGER_PER_HOUR
from .simulation import Surroundings, energy_weights, inside_all, response_matrix, surroundings

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Whole = NDArray[np.int64]

PER_HOUR = 2
MEMBERS_AT_ONCE = 1024  # their readings (0.8 MB for four days) stay near the processor
STRIP_H = 12  # half a day of readings goes through as much of the matrix as it needs
DIED_AWAY = 1e-6  # a response of this much to 1 K
NEAR_FREEZING_K = 0.01  # a hundred times the rounding of single precision


@dataclass(frozen=True)
class Swept:
    """What each member feels, arrays (N,): extremes in degC with their hours, hours outside the band.

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
    def empty(cls, members: int) -> Swept:
        """Return members of whom nothing is known yet."""
        found = cls(*(np.zeros(members) for _ in fields(cls)))
        found.left_below[:] = found.left_above[:] = np.nan
        return found


@dataclass(frozen=True)
class _Part:
    """Some rows of a response matrix: those readings from columns `begin` to `end` only."""

    rows: slice
    columns: slice
    matrix: Single  # (columns, rows)


def sweep(
    kit: Kit,
    ambient_c: Array | Single,
    *,
    low_c: float,
    high_c: float,
    start_c: float | Array,
    leak: Array | None = None,
    pack_energy: Array | None = None,
    film_by_hour: Sequence[str] | None = None,
) -> Swept:
    """Return extremes and hours outside [low_c, high_c] of each member.

    `ambient_c` (N, hours + 1): a member per row, degC at whole hours, finite; the rest as in `simulate.inside`.
    Kits with melting packs, and members in whose box a heat pack may freeze, are simulated the longer way.
    Raises ValueError as `inside` does.
    """
    weather = np.asarray(ambient_c).T
    around = surroundings(weather, start_c=start_c, leak=leak, pack_energy=pack_energy, film_by_hour=film_by_hour)
    return sweep_cases(kit, [around], low_c=low_c, high_c=high_c)[0]


def sweep_cases(
    kit: Kit, cases: Sequence[Surroundings], *, low_c: float, high_c: float, per_hour: int = PER_HOUR
) -> list[Swept]:
    """Return what `sweep` returns for several cases of one kit; the longer way is gone by all of them together.

    `per_hour` readings: 2, or 4 where extremes must be right to 0.01 K.
    """
    found = [Swept.empty(len(case.leak)) for case in cases]
    if kit.phase_change_packs:
        _read_marched(kit, cases, low_c, high_c, [np.arange(len(case.leak)) for case in cases], found)
        return found
    for case, swept in zip(cases, found, strict=True):
        for who, curves in _blocks(kit, case, np.arange(len(case.leak)), per_hour):
            _read(curves, per_hour, low_c, high_c, who, swept)
    if kit.heat_packs:
        _read_marched(kit, cases, low_c, high_c, [_may_freeze(kit, case) for case in cases], found)
    return found


def _may_freeze(kit: Kit, around: Surroundings) -> Whole:
    """Return the members in whose box a heat pack may freeze; who is left out is warm enough beyond all rounding.

    A pack leads the air by its power, by that of the weakest member at least; a spent one cannot freeze.
    """
    cold = np.flatnonzero((around.ambient_c.min(axis=0) < FREEZING_C) | (around.start_c < FREEZING_C))
    if not len(cold):
        return cold
    hour = np.arange(around.hours * LONGER_PER_HOUR + 1) / LONGER_PER_HOUR
    weak, strong = (kit_power_w(kit, hour, float(pick(around.pack_energy[cold]))) for pick in (np.min, np.max))
    lead = np.where(strong > FAINT_W, weak / PACK_FACE_W_K - NEAR_FREEZING_K, np.inf).astype(np.float32)
    found = [
        who[(air + lead).min(axis=1) < FREEZING_C] for who, air in _blocks(kit, around, cold, LONGER_PER_HOUR, AIR)
    ]
    return np.sort(np.concatenate(found))


def _read_marched(
    kit: Kit, cases: Sequence[Surroundings], low_c: float, high_c: float, members: Sequence[Whole], found: list[Swept]
) -> None:
    """Fill in the answers of members that are simulated the longer way, read every quarter of an hour."""
    some = [place for place, who in enumerate(members) if len(who)]
    if not some:
        return
    marched = inside_all(kit, [cases[place].only(members[place]) for place in some], per_hour=LONGER_PER_HOUR)
    for place, each in zip(some, marched, strict=True):
        who, swept = members[place], found[place]
        swept.stalled[who] = each.stalled
        for begin in range(0, len(who), MEMBERS_AT_ONCE):
            block = slice(begin, begin + MEMBERS_AT_ONCE)
            curves = np.ascontiguousarray(each.payload_c[:, block].T, np.float32)
            _read(curves, LONGER_PER_HOUR, low_c, high_c, who[block], swept)


def _blocks(
    kit: Kit, around: Surroundings, members: Whole, per_hour: int = PER_HOUR, node: int = PAYLOAD
) -> Iterator[tuple[Whole, Single]]:
    """Yield one node's curves (members, readings) in degC, block by block, with the members they belong to."""
    levels, which = np.unique(around.leak, return_inverse=True)
    key = tuple(float(level) for level in levels)
    # Level by level, so that one product serves neighbours, and one reading many products.
    level_of = which.astype(np.int16)[members]
    order = np.argsort(level_of, kind="stable")
    in_order, level_of = members[order], level_of[order]
    parts = {level: _parts(kit, around.films, key, level, per_hour, node) for level in np.unique(level_of).tolist()}
    for begin in range(0, len(in_order), MEMBERS_AT_ONCE):
        who, own = in_order[begin : begin + MEMBERS_AT_ONCE], level_of[begin : begin + MEMBERS_AT_ONCE]
        given = _given(kit, around, who)
        curves = np.empty((len(who), around.hours * per_hour + 1), np.float32)
        for level, own_parts in parts.items():
            first, last = np.searchsorted(own, (level, level + 1))
            for part in own_parts if first < last else ():
                np.matmul(given[first:last, part.columns], part.matrix, out=curves[first:last, part.rows])
        yield who, curves


@lru_cache(maxsize=1024)  # of about 40 kB: a board of kits, films and levels
def _parts(
    kit: Kit, films: tuple[str | None, ...], levels: tuple[float, ...], level: int, per_hour: int, node: int
) -> tuple[_Part, ...]:
    """Return the matrix in strips of half a day, each with the columns that matter to it: packs, start, weather."""
    ordered = response_matrix(kit, films, levels, per_hour, node)[level]
    rows_at_once = STRIP_H * per_hour
    parts = []
    for begin in range(0, len(ordered), rows_at_once):
        rows = slice(begin, min(begin + rows_at_once, len(ordered)))
        alive = np.flatnonzero(np.abs(ordered[rows]).max(axis=0) > DIED_AWAY)
        columns = slice(int(alive[0]), int(alive[-1]) + 1)
        parts.append(_Part(rows, columns, np.ascontiguousarray(ordered[rows, columns].T, dtype=np.float32)))
    return tuple(parts)


def _given(kit: Kit, around: Surroundings, who: Whole) -> Single:
    """Return what the matrix is multiplied with, (members, columns): shares of the packs' power, start, weather."""
    series = energy_weights(around.pack_energy[who]).T if kit.heat_packs else np.empty((len(who), 0))
    given = np.empty((len(who), series.shape[1] + 2 + around.hours), np.float32)
    given[:, : series.shape[1]] = series
    given[:, series.shape[1]] = around.start_c[who]
    given[:, series.shape[1] + 1 :] = around.ambient_c.T[who]
    return given


def _read(curves: Single, per_hour: int, low_c: float, high_c: float, who: Whole, found: Swept) -> None:
    """Fill in the answers of one block."""
    coldest, warmest = curves.argmin(axis=1), curves.argmax(axis=1)
    found.coldest_c[who], found.coldest_hour[who] = _extreme(curves, coldest, per_hour)
    found.warmest_c[who], found.warmest_hour[who] = _extreme(curves, warmest, per_hour)
    found.hours_below[who], found.left_below[who] = _hours(curves, coldest, np.less, low_c, per_hour)
    found.hours_above[who], found.left_above[who] = _hours(curves, warmest, np.greater, high_c, per_hour)


def _extreme(curves: Single, at: Whole, per_hour: int) -> tuple[Array, Array]:
    """Return each row's extreme and its hour, on the parabola through the extreme reading `at` and its neighbours.

    Quarter-hourly readings are taken as they are: they come of packs that melt or stall, so curves have kinks.
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
    """Return the hours beyond a limit of each row, whose `extreme` is at that reading, and its first reading beyond.

    The hours are leaving times less entering times, on straight lines.
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
    changes[readings - 1 :: readings] = False  # from one member's end to the next one's beginning
    at = np.flatnonzero(changes)
    row = at // readings
    begin, end = values[at] - limit, values[at + 1] - limit
    when = (at - row * readings + begin / (begin - end)) / per_hour
    all_hours[rows] = hours + np.bincount(row, np.where(flags[at], when, -when), minlength=len(rows))
    all_first[rows] = beyond.argmax(axis=1) / per_hour
    return all_hours, all_first
