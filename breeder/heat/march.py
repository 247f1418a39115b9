"""Step by step through any knots, for what a matrix product cannot do: packs that melt or stall, uneven times.

All members go together, seated in groups of one film and one leak level. Within a block of time a member's network is
linear until a pack leaves its regime; those members alone are taken back to the piece in which it happened and go on
in the new regime, as often as needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

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
INPUTS = 4  # outside and power at the start of a block, then at its end


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
    """What is marched and when: networks by film and leak level, who sits where, blocks between the knots.

    `group` (N,) seats each member; `level` (G,) is a group's leak level and `film` (K-1, G) its film in each block.
    `pieces` (K-1,) per block are a multiple of `every`: melting packs are watched at every `every`-th piece, which is
    also read, and once one has left its regime at each piece. Raises ValueError where they would be watched too seldom.
    """

    networks: tuple[tuple[Network, ...], ...]  # [film][level]
    regimes: Regimes
    hour: Array  # (K,)
    pieces: Whole
    every: int
    group: Whole
    level: Whole
    film: Whole

    def __post_init__(self) -> None:
        longest = float(np.max(np.diff(self.hour) / self.pieces, initial=0.0)) * SECONDS_PER_HOUR * self.every
        if self.regimes.packs and longest > LONGEST_UNWATCHED_S * (1.0 + 1e-9):
            raise ValueError(
                f"A melting pack would be watched only every {longest / 60:.0f} minutes; it must be at least every "
                f"{LONGEST_UNWATCHED_S / 60:.0f}."
            )

    def seats(self) -> Whole:
        """Return the member on each seat (G, seats); a group with fewer members repeats its first one."""
        order = np.argsort(self.group, kind="stable")
        many = np.bincount(self.group, minlength=len(self.level))
        first = np.cumsum(many) - many
        place = np.arange(int(many.max()))[None, :]
        return order[first[:, None] + np.where(place < many[:, None], place, 0)]


@dataclass(frozen=True)
class _Block:
    """What holds in one block for each regime combination C and group G."""

    seen: Array  # (C, G, n + 4, readings * n): all members at once
    fine: Array  # (C, G, pieces * n, n + 4): single members, piece by piece


Packs = tuple[tuple[tuple[float, float], ...], ...]  # for each regime combination: capacity and contact of each pack


@lru_cache(maxsize=256)
def _reach_of(networks: tuple[Network, ...], packs: Packs, seconds: float, pieces: int) -> Array:
    """Return (C, levels, pieces, n, n + 4)."""
    pairs = [[network.matrices(each) for network in networks] for each in packs]
    a = np.array([[a for a, _ in row] for row in pairs])
    b = np.array([[b for _, b in row] for row in pairs])
    return reach(a, b, seconds, pieces)


@lru_cache(maxsize=32)
def _block_of(
    networks: tuple[tuple[Network, ...], ...], level: tuple[int, ...], packs: Packs, seconds: float, pieces: int, every: int
) -> _Block:
    """Return the matrices of one kind of block; `networks` are those of each group's film."""
    reaches = [_reach_of(each, packs, seconds, pieces)[:, at] for each, at in zip(networks, level, strict=True)]
    w = np.stack(reaches, axis=1)
    c, g, _, n, width = w.shape
    seen = w[:, :, every - 1 :: every].reshape(c, g, -1, width).swapaxes(2, 3)
    return _Block(np.ascontiguousarray(seen), w.reshape(c, g, pieces * n, width))


def _blocks(run: Run) -> Iterator[_Block]:
    """Yield the matrices of each block in turn."""
    packs, level = tuple(run.regimes.combinations()), tuple(int(at) for at in run.level)
    seconds = np.round(np.diff(run.hour) * SECONDS_PER_HOUR, 6)
    before: tuple[object, ...] = ()
    for k in range(len(seconds)):
        key = (seconds[k], run.pieces[k], run.film[k].tobytes())
        if key != before:
            networks = tuple(run.networks[film] for film in run.film[k])
            block = _block_of(networks, level, packs, float(seconds[k]), int(run.pieces[k]), run.every)
            before = key
        yield block


def march(
    run: Run, outside_c: Array, power: Array | None, start_c: Array, *, heater_w: Array | None = None
) -> Trace:
    """Return what air and payload do.

    `outside_c`, `power` and `heater_w` (K, N), degC and W, are straight between the knots; `power` is the heat packs',
    which may freeze, `heater_w` anything else's; None: there is none. `start_c` (N,) in degC holds for air, payload
    and walls; melting packs begin at their own.
    """
    seats, walls = run.seats(), len(run.networks[0][0].wall_j_k)
    outside, nothing = outside_c[:, seats], np.zeros_like(outside_c)
    wanted, steady = (nothing if each is None else each for each in (power, heater_w))
    wanted, steady = wanted[:, seats], steady[:, seats]
    state = np.repeat(start_c[seats][..., None], 2 + walls + run.regimes.packs, axis=2)
    state[..., 2 + walls :] = run.regimes.start_c
    regime, frozen = run.regimes.of(state[..., 2 + walls :]), np.zeros(seats.shape, bool)
    ever, read = frozen.copy(), [state[None, ..., :2]]
    for k, block in enumerate(_blocks(run)):
        column = np.empty((*seats.shape, state.shape[2] + INPUTS))
        column[..., :-INPUTS], column[..., -4], column[..., -2] = state, outside[k], outside[k + 1]
        column[..., -3], column[..., -1] = steady[k], steady[k + 1]
        if power is not None:
            frozen = heat_packs.stalled(frozen, state[..., 0], wanted[k])
            ever |= frozen
            column[..., -3] += wanted[k] * ~frozen
            column[..., -1] += wanted[k + 1] * ~frozen
        states, regime = _through(run, block, column, regime)
        read.append(states[..., :2].transpose(2, 0, 1, 3))
        state = states[:, :, -1]
    return _trace(run, seats, np.concatenate(read), ever, state[..., 2 + walls :])


def _trace(run: Run, seats: Whole, read: Array, ever: NDArray[np.bool_], pack_c: Array) -> Trace:
    """Return the readings back in the members' order."""
    place = np.empty(len(run.group), np.int64)
    flat = seats.ravel()
    place[flat[::-1]] = np.arange(len(flat))[::-1]
    both = read.reshape(len(read), -1, 2)[:, place]
    parts = [
        begin + (end - begin) * np.arange(run.every, many + 1, run.every) / many
        for begin, end, many in zip(run.hour[:-1], run.hour[1:], run.pieces, strict=True)
    ]
    hours = np.concatenate([run.hour[:1], *parts])
    return Trace(hours, both[..., 1], both[..., 0], ever.ravel()[place], pack_c.reshape(len(flat), -1)[place])


def _through(run: Run, block: _Block, column: Array, regime: Whole) -> tuple[Array, Whole]:
    """Return the states (G, seats, readings, n) through one block and the regimes at its end."""
    shape = (*column.shape[:2], -1, column.shape[2] - INPUTS)
    if not run.regimes.packs:
        return (column @ block.seen[0]).reshape(shape), regime
    code = run.regimes.code(regime)
    present = np.flatnonzero(np.bincount(code.ravel()))
    states = column @ block.seen[present[0]]
    for combination in present[1:]:
        states = np.where((code == combination)[..., None], column @ block.seen[combination], states)
    states = states.reshape(shape)
    pack_c, (low, high) = states[..., -run.regimes.packs :], run.regimes.room(regime)
    left = ((pack_c < low[:, :, None]) | (pack_c > high[:, :, None])).any(axis=(2, 3))
    if left.any():
        who = np.nonzero(left)
        fine, after = _follow(run, block.fine, who[0], column[who], regime[who])
        states[who] = fine[:, run.every - 1 :: run.every]
        regime = regime.copy()
        regime[who] = after
    return states, regime


def _follow(run: Run, fine: Array, group: Whole, column: Array, regime: Whole) -> tuple[Array, Whole]:
    """Follow members whose packs leave their regime, piece by piece: states (N, pieces, n) and the last regimes."""
    packs, n = run.regimes.packs, column.shape[1] - INPUTS
    pieces = fine.shape[2] // n
    states = np.empty((len(column), pieces, n))
    begin, slope = column[:, n : n + 2], (column[:, n + 2 :] - column[:, n : n + 2]) / pieces
    who, done, state, piece = np.arange(len(column)), np.zeros(len(column), np.int64), column[:, :n], np.arange(pieces)
    for _ in range(MOST_CHANGES):
        now = begin[who] + slope[who] * done[:, None]
        put = np.concatenate([state, now, now + slope[who] * pieces], axis=1)
        ahead = (fine[run.regimes.code(regime[who]), group[who]] @ put[..., None]).reshape(-1, pieces, n)
        place = done[:, None] + piece
        inside = place < pieces
        member = np.broadcast_to(who[:, None], inside.shape)
        states[member[inside], place[inside]] = ahead[inside]
        low, high = run.regimes.room(regime[who])
        pack_c = ahead[..., -packs:]
        left = ((pack_c < low[:, None]) | (pack_c > high[:, None])).any(axis=2) & inside
        again = np.flatnonzero(left.any(axis=1))
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
