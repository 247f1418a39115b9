"""Step linear networks exactly under inputs that are straight between knots (first-order hold).

There is no stability limit and no discretization error: the step length only sets where the result can be read.
Source: Van Loan 1978, IEEE Trans. Autom. Control 23:395, block exponential.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from .box import Network
from .materials import SECONDS_PER_HOUR

Array = NDArray[np.float64]
FINE_PER_HOUR = 12  # five-minute pieces: heat packs are straight enough between them (under 0.002 K)


def first_order_hold(a: Array, b: Array, step_s: float) -> tuple[Array, Array, Array]:
    """Return (Phi, G0, G1) of x1 = Phi x0 + G0 u0 + G1 u1 for u straight from u0 to u1 over `step_s` seconds.

    `a` (..., n, n) and `b` (..., n, m); leading axes are separate systems. One exponential of the Van Loan block
    [[A h, B h, 0], [0, 0, I], [0, 0, 0]]; A need not be invertible.
    """
    n, m = b.shape[-2:]
    block = np.zeros((*a.shape[:-2], n + 2 * m, n + 2 * m))
    block[..., :n, :n] = a * step_s
    block[..., :n, n : n + m] = b * step_s
    block[..., n : n + m, n + m :] = np.eye(m)
    grown = scipy.linalg.expm(block)
    phi, hold, ramp = grown[..., :n, :n], grown[..., :n, n : n + m], grown[..., :n, n + m :]
    return phi, hold - ramp, ramp


def reach(a: Array, b: Array, block_s: float, points: int) -> Array:
    """Return W (..., points, n, n + 2m): the states at equal parts of a block from [state, u at start, u at end].

    The inputs are straight over the whole block of `block_s` seconds; the last point is its end.
    """
    n, m = b.shape[-2:]
    phi, g0, g1 = first_order_hold(a, b, block_s / points)
    w = np.zeros((*a.shape[:-2], points, n, n + 2 * m))
    now = np.zeros((*a.shape[:-2], n, n + 2 * m))
    now[..., :n] = np.eye(n)
    for point in range(points):
        before, after = point / points, (point + 1) / points
        now = phi @ now
        now[..., n : n + m] += g0 * (1.0 - before) + g1 * (1.0 - after)
        now[..., n + m :] += g0 * before + g1 * after
        w[..., point, :, :] = now
    return w


def _pack_reach(a: Array, b: Array) -> Array:
    """Return D (levels, 12, n, 13): states within an hour from power at the five-minute knots of that hour."""
    levels, n = a.shape[0], a.shape[-1]
    phi, g0, g1 = first_order_hold(a, b[..., 1:2], SECONDS_PER_HOUR / FINE_PER_HOUR)
    d = np.zeros((levels, FINE_PER_HOUR, n, FINE_PER_HOUR + 1))
    now = np.zeros((levels, n, FINE_PER_HOUR + 1))
    for piece in range(FINE_PER_HOUR):
        now = phi @ now
        now[..., piece] += g0[..., 0]
        now[..., piece + 1] += g1[..., 0]
        d[:, piece] = now
    return d


@lru_cache(maxsize=256)
def _hour_map(networks: tuple[Network, ...], per_hour: int, node: int) -> tuple[Array, Array]:
    """Return the map of one hour for all leak levels: rows are the node at each reading, then the state at the end.

    First (levels, per_hour + n, n + 2) from state and weather, then (levels, per_hour + n, 13) from pack power.
    """
    pairs = [network.matrices() for network in networks]
    a, b = np.stack([a for a, _ in pairs]), np.stack([b for _, b in pairs])
    every = FINE_PER_HOUR // per_hour
    weather, packs = reach(a, b[..., :1], SECONDS_PER_HOUR, FINE_PER_HOUR), _pack_reach(a, b)
    from_weather, from_packs = (
        np.concatenate([whole[:, every - 1 :: every, node], whole[:, -1]], axis=1) for whole in (weather, packs)
    )
    return from_weather, from_packs


def responses(films: tuple[tuple[Network, ...], ...], power: Array | None, per_hour: int, node: int = 1) -> Array:
    """Return (levels, hours * per_hour + 1, series + 2 + hours): one node's response (1: payload, 0: air).

    Multiplied by a column with a weight per power series, the start temperature and the outside temperature at each
    hour, it gives the node's temperature at evenly spaced readings; the cost of that product does not depend on the
    number of states. `films`: for each hour of the run the networks of that hour, one per leak level. `power`
    (series, hours * 12 + 1) in W at five-minute knots, or None. `per_hour` must divide 12 (ValueError). Every state
    begins at the start temperature.
    """
    if FINE_PER_HOUR % per_hour:
        raise ValueError(f"There are {per_hour} readings an hour, but the number must divide {FINE_PER_HOUR}.")
    hours, levels, series = len(films), len(films[0]), 0 if power is None else len(power)
    n = 2 + len(films[0][0].wall_j_k)
    alike = next((hour for hour in range(hours) if films[hour] != films[0]), hours)
    out = np.zeros((levels, hours * per_hour + 1, series + 2 + hours))
    state = _steady(films[0], alike, power, per_hour, node, out)
    # Later weather has no effect yet, so each hour needs only the columns so far and two more.
    for hour in range(alike, hours):
        weather, packs = _hour_map(films[hour], per_hour, node)
        rows = np.empty((levels, per_hour + n, series + 3 + hour))
        np.matmul(weather[..., :n], state, out=rows[..., :-1])
        rows[..., -1] = weather[..., -1]
        rows[..., -2] += weather[..., n]
        if power is not None:
            rows[..., :series] += packs @ _hour_knots(power, hour)
        out[:, hour * per_hour + 1 : (hour + 1) * per_hour + 1, : series + 3 + hour] = rows[:, :per_hour]
        state = rows[:, per_hour:]
    return out


def _steady(
    networks: tuple[Network, ...], hours: int, power: Array | None, per_hour: int, node: int, out: Array
) -> Array:
    """Fill in the first hours, all with one film, and return the states at their end (levels, n, columns).

    The response to every knot but the first is the same, only later, so it is computed once and copied for all.
    """
    levels, series = len(networks), 0 if power is None else len(power)
    n = 2 + len(networks[0].wall_j_k)
    weather, packs = _hour_map(networks, per_hour, node)
    few = series + 3  # pack power, start, the first knot and the second
    state, seen, states = np.zeros((levels, n, few)), np.zeros((levels, hours * per_hour + 1, few)), []
    state[:, :, series] = 1.0
    seen[:, 0] = state[:, node]
    for hour in range(hours):
        rows = weather[..., :n] @ state
        if hour < 2:
            rows[..., series + 1 + hour] += weather[..., n]
        if hour == 0:
            rows[..., -1] += weather[..., -1]
        if power is not None:
            rows[..., :series] += packs @ _hour_knots(power, hour)
        seen[:, hour * per_hour + 1 : (hour + 1) * per_hour + 1] = rows[:, :per_hour]
        state = rows[:, per_hour:]
        states.append(state[..., -1])
    last = hours * per_hour
    out[:, : last + 1, : few - 1] = seen[..., :-1]
    later = np.concatenate([np.zeros((levels, last)), seen[..., -1]], axis=1)
    for knot in range(1, hours + 1):
        begin = last - (knot - 1) * per_hour
        out[:, : last + 1, few - 2 + knot] = later[:, begin : begin + last + 1]
    return np.concatenate([state[..., :-1], np.stack(states[::-1], axis=-1)], axis=-1)


def _hour_knots(power: Array, hour: int) -> Array:
    """Return the power at the five-minute knots of an hour, (13, series)."""
    return power[:, hour * FINE_PER_HOUR : (hour + 1) * FINE_PER_HOUR + 1].T
