"""Read extremes, hours and degree-hours outside a band from temperature curves that are straight between readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .batch import SweepResult

Array = NDArray[np.float64]


def time_above(hour: Array, curve_c: Array, limit_c: float) -> tuple[Array, Array]:
    """Return hours, and degree-hours in K h, spent strictly above a limit, both (N,).

    Exact for curves that are straight between readings: `hour` (M,), `curve_c` (M, N) in degC. NaN readings do not
    count. Trapezoids come first; then the few pieces that cross the limit are corrected.
    """
    if len(hour) < 2:  # a moment lasts no time
        return np.zeros(curve_c.shape[1]), np.zeros(curve_c.shape[1])
    step = np.diff(hour)
    weight = np.concatenate([step[:1], step[:-1] + step[1:], step[-1:]]) / 2.0
    away = curve_c - limit_c
    above = away > 0.0
    if not above.any():
        return np.zeros(curve_c.shape[1]), np.zeros(curve_c.shape[1])
    over = np.where(above, away, 0.0)
    hours, degree_hours = weight @ above.astype(float), weight @ over
    piece, member = np.nonzero(above[:-1] != above[1:])
    both = over[piece, member] + over[piece + 1, member]
    length = np.abs(away[piece, member]) + np.abs(away[piece + 1, member])
    share = np.nan_to_num(both / length)  # NaN: the curve ends here
    many = curve_c.shape[1]
    hours += np.bincount(member, step[piece] * (share - 0.5), minlength=many)
    degree_hours += np.bincount(member, step[piece] * (share - 1.0) * both / 2.0, minlength=many)
    # Rounding must not turn zero time into a little more or less than zero.
    untouched = ~above.any(axis=0)
    hours[untouched], degree_hours[untouched] = 0.0, 0.0
    return np.maximum(hours, 0.0), np.maximum(degree_hours, 0.0)


def time_below(hour: Array, curve_c: Array, limit_c: float) -> tuple[Array, Array]:
    """Return hours, and degree-hours in K h, spent strictly below a limit; as `time_above`."""
    return time_above(hour, -curve_c, -limit_c)


@dataclass(frozen=True)
class Extremes:
    """Coldest and warmest reading of each member, degC, and their hours: arrays (N,)."""

    coldest_c: Array
    coldest_hour: Array
    warmest_c: Array
    warmest_hour: Array


def extremes(hour: Array, curve_c: Array) -> Extremes:
    """Return the extremes of `curve_c` (M, N), skipping NaN readings; the first reading must be known."""
    known = not np.isnan(curve_c[-1]).any()  # a missing hour hides everything after it
    low = curve_c.argmin(axis=0) if known else np.nanargmin(curve_c, axis=0)
    high = curve_c.argmax(axis=0) if known else np.nanargmax(curve_c, axis=0)
    column = np.arange(curve_c.shape[1])
    return Extremes(curve_c[low, column], hour[low], curve_c[high, column], hour[high])


def cut(hour: Array, curve_c: Array, known_until: Array, complete: NDArray[np.bool_]) -> Array:
    """Return curves (M, N) with NaN after the last known hour of each incomplete member.

    After that hour the weather is unknown. A member that lacks even hour 0 keeps its start.
    """
    if complete.all():
        return curve_c
    until = np.where(complete, np.inf, np.maximum(known_until, 0.0))
    return np.where(hour[:, None] <= until + 1e-9, curve_c, np.nan)


def sweep_result(hour: Array, curve_c: Array, low_c: float, high_c: float, stalled: NDArray[np.bool_]) -> SweepResult:
    """Return what `sweep` returns, from the curves (M, N) of the members."""
    extreme = extremes(hour, curve_c)
    return SweepResult(
        extreme.coldest_c,
        extreme.coldest_hour,
        extreme.warmest_c,
        extreme.warmest_hour,
        time_below(hour, curve_c, low_c)[0],
        time_above(hour, curve_c, high_c)[0],
        _first(hour, curve_c < low_c),
        _first(hour, curve_c > high_c),
        stalled.astype(float),
    )


def _first(hour: Array, flags: NDArray[np.bool_]) -> Array:
    return np.where(flags.any(axis=0), hour[flags.argmax(axis=0)], np.nan)


def weighted_quantiles(values: Array, weights: Array, shares: tuple[float, ...]) -> tuple[float, ...]:
    """Return quantiles of weighted values; with equal weights those of the usual linear rule (type 7).

    Each value is placed at the middle of its weight, and the places are stretched to run from 0 to 1.
    """
    order = np.argsort(values, kind="stable")
    value, weight = values[order], weights[order]
    middle = np.cumsum(weight) - weight / 2.0
    span = middle[-1] - middle[0]
    place = (middle - middle[0]) / span if span > 0.0 else np.zeros_like(middle)
    return tuple(float(quantile) for quantile in np.interp(shares, place, value))
