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
    """What holds in one block for each regime combination C and group G; m inputs, at its start and at its end."""

    seen: Array  # (C, G, n + 2m, readings * n): all members at once
    fine: Array  # (C, G, pieces, n, n + 2m): single members, piece by piece


Packs = tuple[tuple[tuple[float, float], ...], ...]  # for each regime combination: capacity and contact of each pack


@lru_cache(maxsize=256)
def _reach_of(networks: tuple[Network, ...], packs: Packs, inputs: int, seconds: float, pieces: int) -> Array:
    """Return (C, levels, pieces, n, n + 2m)."""
    pairs = [[network.matrices(each) for network in networks] for each in packs]
    a = np.array([[a for a, _ in row] for row in pairs])
    b = np.array([[b[:, :inputs] for _, b in row] for row in pairs])
    return reach(a, b, seconds, pieces)


@lru_cache(maxsize=32)
def _block_of(
    networks: tuple[tuple[Network, ...], ...],
    level: tuple[int, ...],
    packs: Packs,
    inputs: int,
    seconds: float,
    pieces: int,
    every: int,
) -> _Block:
    """Return the matrices of one kind of block; `networks` are those of each group's film."""
    reaches = [_reach_of(each, packs, inputs, seconds, pieces)[:, at] for each, at in zip(networks, level, strict=True)]
    w = np.stack(reaches, axis=1)
    c, g, _, _, width = w.shape
    seen = w[:, :, every - 1 :: every].reshape(c, g, -1, width).swapaxes(2, 3)
    return _Block(np.ascontiguousarray(seen), w)


def _blocks(run: Run, inputs: int) -> Iterator[_Block]:
    """Yield the matrices of each block in turn."""
    packs, level = tuple(run.regimes.combinations()), tuple(int(at) for at in run.level)
    seconds = np.round(np.diff(run.hour) * SECONDS_PER_HOUR, 6)
    before: tuple[object, ...] = ()
    for k in range(len(seconds)):
        key = (seconds[k], run.pieces[k], run.film[k].tobytes())
        if key != before:
            networks = tuple(run.networks[film] for film in run.film[k])
            block = _block_of(networks, level, packs, inputs, float(seconds[k]), int(run.pieces[k]), run.every)
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
    outside = outside_c[:, seats]
    inputs = 1 if power is None and heater_w is None else 2
    wanted = None if power is None else power[:, seats]
    steady = np.zeros_like(outside) if heater_w is None else heater_w[:, seats]
    state = np.repeat(start_c[seats][..., None], 2 + walls + run.regimes.packs, axis=2)
    state[..., 2 + walls :] = run.regimes.start_c
    regime, frozen = run.regimes.of(state[..., 2 + walls :]), np.zeros(seats.shape, bool)
    ever, read = frozen.copy(), [state[None, ..., :2]]
    n = state.shape[2]
    column = np.empty((*seats.shape, n + 2 * inputs))
    for k, block in enumerate(_blocks(run, inputs)):
        column[..., :n], column[..., n], column[..., n + inputs] = state, outside[k], outside[k + 1]
        if inputs == 2:
            column[..., n + 1], column[..., n + 3] = steady[k], steady[k + 1]
        if wanted is not None:
            frozen = heat_packs.stalled(frozen, state[..., 0], wanted[k])
            ever |= frozen
            column[..., n + 1] += wanted[k] * ~frozen
            column[..., n + 3] += wanted[k + 1] * ~frozen
        states, regime = _through(run, block, column, regime)
        read.append(states[..., :2].transpose(2, 0, 1, 3))
        state = states[:, :, -1]
    return _trace(run, seats, np.concatenate(read), ever, state[..., 2 + walls :])


def _trace(run: Run, seats: Whole, read: Array, ever: NDArray[np.bool_], pack_c: Array) -> Trace:
    """Return the readings back in the members' order."""
    place = np.empty(len(run.group), np.int64)
    flat = seats.ravel()
    place[flat[::-1]] = np.arange(len(flat))[::-1]
    both = read.reshape(len(read), -1, 2)
    parts = [
        begin + (end - begin) * np.arange(run.every, many + 1, run.every) / many
        for begin, end, many in zip(run.hour[:-1], run.hour[1:], run.pieces, strict=True)
    ]
    hours = np.concatenate([run.hour[:1], *parts])
    pack_c = pack_c.reshape(len(flat), -1)[place]
    return Trace(hours, both[..., 1][:, place], both[..., 0][:, place], ever.ravel()[place], pack_c)


def _through(run: Run, block: _Block, column: Array, regime: Whole) -> tuple[Array, Whole]:
    """Return the states (G, seats, readings, n) through one block and the regimes at its end."""
    n = block.fine.shape[3]
    shape = (*column.shape[:2], -1, n)
    if not run.regimes.packs:
        return (column @ block.seen[0]).reshape(shape), regime
    code = run.regimes.code(regime)
    present = np.flatnonzero(np.bincount(code.ravel()))
    states = column @ block.seen[present[0]]
    for combination in present[1:]:
        np.copyto(states, column @ block.seen[combination], where=(code == combination)[..., None])
    states = states.reshape(shape)
    low, high = run.regimes.room(regime)
    left = _outside(states[..., n - run.regimes.packs :], low[:, :, None], high[:, :, None])
    gone = left.any(axis=2)
    if gone.any():
        who = np.nonzero(gone)
        states[who], after = _follow(run, block.fine, who[0], column[who], states[who], left[who], regime[who])
        regime = regime.copy()
        regime[who] = after
    return states, regime


def _outside(pack_c: Array, low: Array, high: Array) -> NDArray[np.bool_]:
    """Return where any pack (..., packs) is beyond the room of its regime."""
    beyond = (pack_c < low) | (pack_c > high)
    return beyond[..., 0] if beyond.shape[-1] == 1 else beyond.any(axis=-1)


def _follow(
    run: Run, fine: Array, group: Whole, column: Array, states: Array, left: NDArray[np.bool_], regime: Whole
) -> tuple[Array, Whole]:
    """Correct members whose packs leave their regime: their `states` (N, readings, n) and the regimes at the end.

    `left` (N, readings) tells at which readings they were found outside. From the reading before, a member goes piece
    by piece to where it leaves, changes its regime there, and goes on to the readings that follow; as often as needed.
    """
    packs, (pieces, n), every = run.regimes.packs, fine.shape[2:4], run.every
    inputs = (column.shape[1] - n) // 2
    begin, slope = column[:, n : n + inputs], (column[:, n + inputs :] - column[:, n : n + inputs]) / pieces
    marks = np.arange(every, pieces + 1, every)
    who, first = np.arange(len(column)), left.argmax(axis=1)
    done = first * every
    state = np.where(first[:, None] > 0, states[who, first - 1], column[:, :n])
    for _ in range(MOST_CHANGES):
        at = begin[who] + slope[who] * done[:, None]
        put = np.concatenate([state, at, at + slope[who] * pieces], axis=1)[..., None]
        steps = fine[run.regimes.code(regime[who]), group[who], :every].reshape(len(who), every * n, -1)
        near = (steps @ put).reshape(len(who), every, n)
        low, high = run.regimes.room(regime[who])
        out = _outside(near[..., n - packs :], low[:, None], high[:, None])
        step = np.where(out.any(axis=1), out.argmax(axis=1), every - 1)
        done, state = done + step + 1, near[np.arange(len(who)), step]
        # Energy gained past the edge at the old capacity is laid out at the new one, so none is lost.
        state[:, n - packs :], regime[who] = run.regimes.carry_over(state[:, n - packs :], regime[who])
        outside = _go_on(run, fine, group, states, regime, who, done, state, begin, slope, marks)
        again = np.flatnonzero(outside.any(axis=1))
        if not len(again):
            return states, regime
        first = outside[again].argmax(axis=1)
        # The next stretch begins at the reading before, or where the regime changed if no reading lies between.
        started = first * every > done[again]
        who, state, done = (
            who[again],
            np.where(started[:, None], states[who[again], first - 1], state[again]),
            np.where(started, first * every, done[again]),
        )
    raise ValueError(f"A pack changed its regime over {MOST_CHANGES} times in one block; take shorter blocks.")


def _go_on(
    run: Run,
    fine: Array,
    group: Whole,
    states: Array,
    regime: Whole,
    who: Whole,
    done: Whole,
    state: Array,
    begin: Array,
    slope: Array,
    marks: Whole,
) -> NDArray[np.bool_]:
    """Fill `states` at the readings from piece `done` on, and return at which the packs are outside again."""
    pieces, n = fine.shape[2:4]
    ahead = marks - done[:, None]
    at = begin[who] + slope[who] * done[:, None]
    put = np.concatenate([state, at, at + slope[who] * pieces], axis=1)[:, None, :, None]
    code = run.regimes.code(regime[who])
    found = (fine[code[:, None], group[who][:, None], np.maximum(ahead, 1) - 1] @ put)[..., 0]
    found = np.where((ahead == 0)[..., None], state[:, None], found)
    later = ahead >= 0
    states[who] = np.where(later[..., None], found, states[who])
    low, high = run.regimes.room(regime[who])
    return _outside(found[..., n - run.regimes.packs :], low[:, None], high[:, None]) & (ahead > 0)
