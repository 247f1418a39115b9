"""Reading a temperature curve: extremes, hours and degree-hours outside a band. Straight between readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def hours_above(hour: Array, curve_c: Array, limit_c: float) -> Array:
    """Return the hours spent strictly above a limit, (N,), by readings `hour` (M,) and `curve_c` (M, N) in degC.

    Crossings between readings are found on the straight line. NaN readings count as not above.
    """
    over = np.nan_to_num(curve_c - limit_c, nan=-1.0, posinf=1.0, neginf=-1.0)
    begin, end = over[:-1], over[1:]
    both = np.maximum(begin, 0.0) + np.maximum(end, 0.0)
    length = np.abs(begin) + np.abs(end)
    share = np.divide(both, length, out=np.zeros_like(both), where=length > 0.0)
    return np.diff(hour) @ share


def hours_below(hour: Array, curve_c: Array, limit_c: float) -> Array:
    """Return the hours spent strictly below a limit, (N,); as `hours_above`."""
    return hours_above(hour, -curve_c, -limit_c)


def degree_hours_above(hour: Array, curve_c: Array, limit_c: float) -> Array:
    """Return the degree-hours above a limit, (N,) in K h, exact for straight pieces."""
    over = np.nan_to_num(curve_c - limit_c, nan=-1.0, posinf=1.0, neginf=-1.0)
    begin, end = np.maximum(over[:-1], 0.0), np.maximum(over[1:], 0.0)
    length = np.abs(over[:-1]) + np.abs(over[1:])
    share = np.divide(begin + end, length, out=np.zeros_like(begin), where=length > 0.0)
    return np.diff(hour) @ (share * (begin + end) / 2.0)


def degree_hours_below(hour: Array, curve_c: Array, limit_c: float) -> Array:
    """Return the degree-hours below a limit, (N,) in K h; as `degree_hours_above`."""
    return degree_hours_above(hour, -curve_c, -limit_c)


@dataclass(frozen=True)
class Extremes:
    """Coldest and warmest reading of each member, degC, and when, h: arrays (N,)."""

    coldest_c: Array
    coldest_hour: Array
    warmest_c: Array
    warmest_hour: Array


def extremes(hour: Array, curve_c: Array) -> Extremes:
    """Return the extremes of `curve_c` (M, N), skipping NaN readings; the first reading must be known."""
    low, high = np.nanargmin(curve_c, axis=0), np.nanargmax(curve_c, axis=0)
    column = np.arange(curve_c.shape[1])
    return Extremes(curve_c[low, column], hour[low], curve_c[high, column], hour[high])


def weighted_quantiles(values: Array, weights: Array, shares: tuple[float, ...]) -> tuple[float, ...]:
    """Return quantiles of weighted values; with equal weights those of the usual linear rule (type 7).

    Each value stands at the middle of its weight, stretched so that the first stands at 0 and the last at 1.
    """
    order = np.argsort(values, kind="stable")
    value, weight = values[order], weights[order]
    middle = np.cumsum(weight) - weight / 2.0
    span = middle[-1] - middle[0]
    place = (middle - middle[0]) / span if span > 0.0 else np.zeros_like(middle)
    return tuple(float(one) for one in np.interp(shares, place, value))
