"""Extremes and hours outside the band for a great many members of one kit, without keeping their curves.

The board's way: members lie row by row, one block at a time passes through the response matrix in single precision
(0.0001 K), read every half hour; between the readings extremes lie on a parabola and crossings on a straight line.
What it leaves out of the product are responses that have not begun or have died away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from . import reading
from .kit import Kit
from .packs import FREEZING_C
from .simulate import Surroundings, energy_weights, inside_all, response_matrix, surroundings

Array = NDArray[np.float64]
Single = NDArray[np.float32]

PER_HOUR = 2
MEMBERS_AT_ONCE = 1024  # their readings (0.8 MB for four days) stay near the processor
ROWS_AT_ONCE = 24  # half a day of readings goes through as much of the matrix as it needs
DIED_AWAY = 1e-6  # a response of this much to 1 K


@dataclass(frozen=True)
class Swept:
    """What each member feels, arrays (N,): extremes in degC with their hours, hours outside the band."""

    coldest_c: Array
    coldest_hour: Array
    warmest_c: Array
    warmest_hour: Array
    hours_below: Array
    hours_above: Array


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
    weather = np.asarray(ambient_c)
    around = surroundings(weather.T, start_c=start_c, leak=leak, pack_energy=pack_energy, film_by_hour=film_by_hour)
    if kit.phase_change_packs:
        return _read_curves(kit, around, low_c, high_c)
    found = Swept(*(np.empty(len(around.leak)) for _ in fields(Swept)))
    levels, which = np.unique(around.leak, return_inverse=True)
    key = tuple(float(level) for level in levels)
    for level in range(len(levels)):
        members = np.flatnonzero(which == level)
        parts = _parts(kit, around.films, key, level)
        for begin in range(0, len(members), MEMBERS_AT_ONCE):
            who = members[begin : begin + MEMBERS_AT_ONCE]
            curves = _curves(kit, around, weather, who, parts)
            _read(curves, low_c, high_c, who, found)
    may_freeze = np.flatnonzero(weather.min(axis=1) < FREEZING_C) if kit.heat_packs else np.array([], int)
    if len(may_freeze):
        slow = _read_curves(kit, around.only(may_freeze), low_c, high_c)
        for field in fields(Swept):
            getattr(found, field.name)[may_freeze] = getattr(slow, field.name)
    return found


def _read_curves(kit: Kit, around: Surroundings, low_c: float, high_c: float) -> Swept:
    curves = inside_all(kit, [around])[0]
    extremes = reading.extremes(curves.hour, curves.payload_c)
    below, _ = reading.time_below(curves.hour, curves.payload_c, low_c)
    above, _ = reading.time_above(curves.hour, curves.payload_c, high_c)
    return Swept(extremes.coldest_c, extremes.coldest_hour, extremes.warmest_c, extremes.warmest_hour, below, above)


@lru_cache(maxsize=1024)  # of about 40 kB: a board of kits, films and levels
def _parts(kit: Kit, films: tuple[str | None, ...], levels: tuple[float, ...], level: int) -> tuple[_Part, ...]:
    """Return the matrix in strips of half a day, each with the columns that matter to it: packs, start, weather."""
    ordered = response_matrix(kit, films, levels, PER_HOUR)[level]
    parts = []
    for begin in range(0, len(ordered), ROWS_AT_ONCE):
        rows = slice(begin, min(begin + ROWS_AT_ONCE, len(ordered)))
        alive = np.flatnonzero(np.abs(ordered[rows]).max(axis=0) > DIED_AWAY)
        columns = slice(int(alive[0]), int(alive[-1]) + 1)
        parts.append(_Part(rows, columns, np.ascontiguousarray(ordered[rows, columns].T, dtype=np.float32)))
    return tuple(parts)


def _curves(
    kit: Kit, around: Surroundings, weather: Array | Single, who: NDArray[np.int64], parts: tuple[_Part, ...]
) -> Single:
    """Return the payload of one block of members (members, readings) in degC."""
    series = energy_weights(around.pack_energy[who]).T if kit.heat_packs else np.empty((len(who), 0))
    given = np.empty((len(who), series.shape[1] + 2 + around.hours), np.float32)
    given[:, : series.shape[1]] = series
    given[:, series.shape[1]] = around.start_c[who]
    given[:, series.shape[1] + 1 :] = weather[who]
    curves = np.empty((len(who), around.hours * PER_HOUR + 1), np.float32)
    for part in parts:
        np.matmul(given[:, part.columns], part.matrix, out=curves[:, part.rows])
    return curves


def _read(curves: Single, low_c: float, high_c: float, who: NDArray[np.int64], found: Swept) -> None:
    """Fill in the answers of one block; only members whose extremes pass a limit are searched for crossings."""
    found.coldest_c[who], found.coldest_hour[who] = _extreme(curves, curves.argmin(axis=1))
    found.warmest_c[who], found.warmest_hour[who] = _extreme(curves, curves.argmax(axis=1))
    found.hours_below[who] = _hours(curves, curves < np.float32(low_c), low_c)
    found.hours_above[who] = _hours(curves, curves > np.float32(high_c), high_c)


def _extreme(curves: Single, at: NDArray[np.int64]) -> tuple[Array, Array]:
    """Return each row's extreme and its hour, on the parabola through the extreme reading `at` and its neighbours."""
    flat, last = curves.ravel(), curves.shape[1] - 1
    place = np.arange(len(curves)) * (last + 1) + at
    extreme = flat[place].astype(float)
    before = flat[place - (at > 0)] - extreme
    after = flat[place + (at < last)] - extreme
    total = before + after
    inner = (at > 0) & (at < last) & (total != 0.0)
    lean = np.where(inner, before - after, 0.0)
    bend = np.where(inner, total, 1.0)
    return extreme - lean**2 / (8.0 * bend), (at + lean / (2.0 * bend)) / PER_HOUR


def _hours(curves: Single, beyond: NDArray[np.bool_], limit_c: float) -> Array:
    """Return the hours beyond a limit of each row: leaving times less entering times, on straight lines."""
    readings = curves.shape[1]
    hours = np.where(beyond[:, -1], (readings - 1) / PER_HOUR, 0.0)
    flags, values = beyond.ravel(), curves.ravel()
    changes = flags[1:] != flags[:-1]
    changes[readings - 1 :: readings] = False  # from one member's end to the next one's beginning
    at = np.flatnonzero(changes)
    if not len(at):
        return hours
    row = at // readings
    begin, end = values[at] - np.float32(limit_c), values[at + 1] - np.float32(limit_c)
    when = (at - row * readings + begin / (begin - end)) / PER_HOUR
    return hours + np.bincount(row, np.where(flags[at], when, -when), minlength=len(curves))
