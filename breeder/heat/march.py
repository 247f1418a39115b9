"""Step by step through any knots, for what a matrix product cannot do: packs that melt or stall, uneven times.

All members go together; within a block of time each member's network is linear until a pack leaves its regime. Those
members alone are taken back to the piece in which it happened and go on in the new regime, as often as needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .box import Network
from .materials import SECONDS_PER_HOUR
from .phase import Regimes
from .stepping import reach

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

LONGEST_UNWATCHED_S = 900.0  # between two looks at a melting pack's regime; hourly looks err by several K
MOST_CHANGES = 200  # of regime within one block; more means the pieces are far too long


@dataclass(frozen=True)
class Trace:
    """Temperatures read along the way: hours (M,), payload and air (M, N); `stalled` (N,): a heat pack froze."""

    hour: Array
    payload_c: Array
    air_c: Array
    stalled: NDArray[np.bool_]
    pack_c: Array  # (N, packs) at the end


@dataclass(frozen=True)
class Run:
    """What is marched: networks by film and leak level, the members' levels, regimes of melting packs."""

    networks: tuple[tuple[Network, ...], ...]  # [film][level]
    level: Whole  # (N,)
    regimes: Regimes

    @cached_property
    def members(self) -> tuple[Whole, ...]:
        """Return which members belong to each leak level."""
        return tuple(np.flatnonzero(self.level == level) for level in range(len(self.networks[0])))


class _Blocks:
    """The reach matrices of each length of block, film, regime combination and leak level, made when first met."""

    def __init__(self, run: Run) -> None:
        self._run = run
        self._made: dict[tuple[float, int, int], Array] = {}

    def of(self, seconds: float, pieces: int, film: int) -> Array:
        """Return (combinations, levels, pieces, n, n + 4) for one film."""
        key = (round(seconds, 6), pieces, film)
        if key not in self._made:
            pairs = [
                [network.matrices(packs) for network in self._run.networks[film]]
                for packs in self._run.regimes.combinations()
            ]
            a = np.array([[a for a, _ in row] for row in pairs])
            b = np.array([[b for _, b in row] for row in pairs])
            self._made[key] = reach(a, b, seconds, pieces)
        return self._made[key]


def march(
    run: Run,
    hour: Array,
    outside_c: Array,
    power: Array,
    start_c: Array,
    *,
    pieces: Whole,
    every: int,
    film: Whole | None = None,
) -> Trace:
    """Return what air and payload do between the knots `hour` (K,), read at every `every`-th piece of each block.

    `outside_c` and `power` (K, N) are straight between the knots; `start_c` (N,) holds for air, payload and walls.
    `pieces` (K-1,) in each block, a multiple of `every`: melting packs are watched at each reading and, once one has
    left its regime, at each piece. `film` (K-1,): which film's networks hold in a block.
    Raises ValueError where melting packs would be watched too seldom.
    """
    _refuse_long_pieces(run, hour, pieces, every)
    blocks, walls = _Blocks(run), len(run.networks[0][0].wall_j_k)
    state, frozen = _start(run, start_c), np.zeros(len(start_c), bool)
    regime, ever = run.regimes.of(state[:, 2 + walls :]), frozen.copy()
    read = [state[None, :, :2]]
    for k in range(len(hour) - 1):
        w = blocks.of((hour[k + 1] - hour[k]) * SECONDS_PER_HOUR, int(pieces[k]), 0 if film is None else int(film[k]))
        now = heat_packs.stalled(frozen, state[:, 0], power[k])
        ever, frozen = ever | now, now
        burning = ~frozen
        inputs = np.stack([outside_c[k], power[k] * burning, outside_c[k + 1], power[k + 1] * burning], axis=1)
        states, regime = _block(run, w, every, np.concatenate([state, inputs], axis=1), regime)
        read.append(states[:, :, :2].transpose(1, 0, 2))
        state = states[:, -1]
    both = np.concatenate(read)
    return Trace(_read_hours(hour, pieces, every), both[..., 1], both[..., 0], ever, state[:, 2 + walls :])


def _refuse_long_pieces(run: Run, hour: Array, pieces: Whole, every: int) -> None:
    longest = float(np.max(np.diff(hour) / pieces, initial=0.0)) * SECONDS_PER_HOUR * every
    if run.regimes.packs and longest > LONGEST_UNWATCHED_S:
        raise ValueError(
            f"A melting pack would be watched only every {longest / 60:.0f} minutes; it must be at least every "
            f"{LONGEST_UNWATCHED_S / 60:.0f}."
        )


def _start(run: Run, start_c: Array) -> Array:
    """Return the first states (N, n): everything at the start temperature but the packs at their own."""
    walls = len(run.networks[0][0].wall_j_k)
    state = np.repeat(start_c[:, None], 2 + walls + run.regimes.packs, axis=1)
    state[:, 2 + walls :] = run.regimes.start_c
    return state


def _read_hours(hour: Array, pieces: Whole, every: int) -> Array:
    parts = [
        begin + (end - begin) * np.arange(every, many + 1, every) / many
        for begin, end, many in zip(hour[:-1], hour[1:], pieces, strict=True)
    ]
    return np.concatenate([hour[:1], *parts])


def _block(run: Run, w: Array, every: int, column: Array, regime: Whole) -> tuple[Array, Whole]:
    """Return the states (N, readings, n) of one block from `column` (N, n + 4), and the regimes at its end."""
    n = column.shape[1] - 4
    seen = w[:, :, every - 1 :: every]
    code = run.regimes.code(regime)
    states = np.empty((len(column), seen.shape[2], n))
    for combination in np.unique(code):
        flat = seen[combination].reshape(seen.shape[1], -1, n + 4)
        for level, members in enumerate(run.members):
            who = members if (code[members] == combination).all() else members[code[members] == combination]
            if len(who):
                states[who] = (column[who] @ flat[level].T).reshape(len(who), -1, n)
    if run.regimes.packs:
        pack_c, (low, high) = states[..., -run.regimes.packs :], run.regimes.room(regime)
        left = ((pack_c < low[:, None]) | (pack_c > high[:, None])).any(axis=(1, 2))
        if left.any():
            who = np.flatnonzero(left)
            fine, after = _follow(run, w, run.level[who], column[who], regime[who])
            states[who], regime = fine[:, every - 1 :: every], regime.copy()
            regime[who] = after
    return states, regime


def _follow(run: Run, w: Array, level: Whole, column: Array, regime: Whole) -> tuple[Array, Whole]:
    """Follow members whose packs leave their regime, piece by piece: states (N, pieces, n) and the last regimes."""
    pieces, packs, n = w.shape[2], run.regimes.packs, column.shape[1] - 4
    states = np.empty((len(column), pieces, n))
    begin, slope = column[:, n : n + 2], (column[:, n + 2 :] - column[:, n : n + 2]) / pieces
    who, done, state = np.arange(len(column)), np.zeros(len(column), np.int64), column[:, :n]
    for _ in range(MOST_CHANGES):
        now = begin[who] + slope[who] * done[:, None]
        put = np.concatenate([state, now, now + slope[who] * pieces], axis=1)
        ahead = (w[run.regimes.code(regime[who]), level[who]] @ put[:, None, :, None])[..., 0]
        place = done[:, None] + np.arange(pieces)
        inside = place < pieces
        states[who[:, None].repeat(pieces, 1)[inside], place[inside]] = ahead[inside]
        low, high = run.regimes.room(regime[who])
        pack_c = ahead[..., -packs:]
        left = ((pack_c < low[:, None]) | (pack_c > high[:, None])).any(axis=2) & inside
        again = np.flatnonzero(left.any(axis=1))
        if not len(again):
            return states, regime
        first = left[again].argmax(axis=1)
        who, done, state = who[again], done[again] + first + 1, ahead[again, first]
        # Energy gained past the edge at the old capacity is laid out at the new one, so none is lost.
        state[:, -packs:], regime[who] = run.regimes.carry_over(state[:, -packs:], regime[who])
        states[who, done - 1] = state
        going = done < pieces
        who, done, state = who[going], done[going], state[going]
        if not len(who):
            return states, regime
    raise ValueError(f"A pack changed its regime over {MOST_CHANGES} times in one block; take shorter blocks.")
