"""Step through any knots what one matrix product cannot do: packs that melt or stall, and uneven times.

All members are stepped together, in groups with the same film and leak level. Within a block of time the network of a
member is linear until a pack leaves its regime. Only those members are then taken back to the piece in which that
happened and go on in the new regime, as often as needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .phase_change import Regimes
from .transition_matrices import Block, Run, time_blocks

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

AIR, PAYLOAD = 0, 1  # their places in the state
MOST_CHANGES = 200  # of regime within one block; more means the pieces are far too long


@dataclass(frozen=True)
class Trace:
    """Temperatures at the readings: hours (M,), payload and air (M, N); `stalled` (N,): a heat pack froze."""

    hour: Array
    payload_c: Array
    air_c: Array  # (0, N) unless asked for
    stalled: Flags
    pack_c: Array  # (N, packs) at the end


class _MemberStates:
    """The states of all members (G, n, seats), and for melting packs their regimes and the limits of those."""

    def __init__(self, run: Run, start_c: Array) -> None:
        self.regimes, self.first_pack = run.regimes, 2 + run.walls
        self.state = np.repeat(start_c[:, None, :], self.first_pack + run.regimes.packs, axis=1)
        self.state[:, self.first_pack :] = run.regimes.start_c[:, None]
        self.regime = run.regimes.regime_at(self.state[:, self.first_pack :].swapaxes(1, 2))  # (G, seats, packs)
        self.code = run.regimes.code(self.regime)
        low, high = run.regimes.room(self.regime)
        self.low, self.high = low.swapaxes(1, 2).copy(), high.swapaxes(1, 2).copy()  # (G, packs, seats)

    def go(self, block: Block, column: Array) -> Array:
        """Go through one block and return the watched nodes (G, readings, watched, seats)."""
        rows_out = block.through(column, self.code)
        count = block.readings * len(block.watched)
        readings = rows_out[:, :count].reshape(len(rows_out), block.readings, len(block.watched), -1)
        self.state = rows_out[:, count:]
        packs = self.regimes.packs
        if packs:
            pack_c = readings[:, :, -packs:]
            left: Flags = np.any((pack_c < self.low[:, None]) | (pack_c > self.high[:, None]), axis=2)
            group, seat = np.nonzero(left.any(axis=1))
            if len(group):
                leaving = _Followed(block, self.regimes, group, column[group, :, seat], self.regime[group, seat])
                readings[group, :, :, seat], self.state[group, :, seat] = leaving.follow(left[group, :, seat])
                self._settle(group, seat, leaving.regime)
        return readings

    def _settle(self, group: Whole, seat: Whole, regime: Whole) -> None:
        self.regime[group, seat], self.code[group, seat] = regime, self.regimes.code(regime)
        self.low[group, :, seat], self.high[group, :, seat] = self.regimes.room(regime)


@dataclass
class _Followed:
    """Members (N,) whose packs leave their regime within a block."""

    block: Block
    regimes: Regimes
    group: Whole
    column: Array  # (N, w)
    regime: Whole  # (N, packs)

    def follow(self, left: Flags) -> tuple[Array, Array]:
        """Return the watched nodes (N, readings, watched) and the states at the end (N, n).

        `left` (N, readings): the readings at which they were outside. From the start of the block, or from its last
        change, a member goes to the piece in which it leaves, changes its regime there and goes on, as often as needed.
        Raises ValueError after MOST_CHANGES changes.
        """
        block, every = self.block, self.block.every
        pieces, n = block.fine.shape[2:4]
        packs, marks = self.regimes.packs, np.arange(every, pieces + 1, every)
        who, done, state = np.arange(len(self.group)), np.zeros(len(self.group), np.int64), self.column[:, :n]
        states = block.reached(self.regimes.code(self.regime), self.group, marks - 1, self.column)
        first = left.argmax(axis=1)
        for _ in range(MOST_CHANGES):
            put, code = self._columns(who, done, state), self.regimes.code(self.regime[who])
            # Pieces from the reading before the one outside; the last of them is that reading.
            begin, end = np.maximum(first * every - done, 0), (first + 1) * every - done - 1
            piece = np.minimum(begin[:, None] + np.arange(every), end[:, None])
            out = _beyond(self.regimes, block.reached(code, self.group[who], piece, put, packs), self.regime[who])
            step = np.where(out.any(axis=1), piece[np.arange(len(who)), out.argmax(axis=1)], end)
            state = block.reached(code, self.group[who], step[:, None], put)[:, 0]
            done = done + step + 1
            # The energy gained past the edge at the old capacity is converted at the new one, so none is lost.
            state[:, n - packs :], self.regime[who] = self.regimes.carry_over(state[:, n - packs :], self.regime[who])
            outside = self._go_on(states, who, done, state, marks)
            again = np.flatnonzero(outside.any(axis=1))
            if not len(again):
                return states[..., list(block.watched)], states[:, -1]
            who, done, state, first = who[again], done[again], state[again], outside[again].argmax(axis=1)
        raise ValueError(f"A pack changed its regime over {MOST_CHANGES} times in one block; take shorter blocks.")

    def _columns(self, who: Whole, done: Whole, state: Array) -> Array:
        """Return columns (N, w) that begin at piece `done`: its state, and the inputs on the same straight line."""
        n, pieces = self.block.fine.shape[3], self.block.fine.shape[2]
        inputs = (self.column.shape[1] - n) // 2
        now, then = self.column[who, n : n + inputs], self.column[who, n + inputs :]
        slope = then - now
        at = now + slope * (done / pieces)[:, None]
        return np.concatenate([state, at, at + slope], axis=1)

    def _go_on(self, states: Array, who: Whole, done: Whole, state: Array, marks: Whole) -> Flags:
        """Fill in the readings from piece `done` on, and return those at which the packs are outside again."""
        put, code = self._columns(who, done, state), self.regimes.code(self.regime[who])
        ahead = marks - done[:, None]
        reached = self.block.reached(code, self.group[who], np.maximum(ahead, 1) - 1, put)
        reached = np.where((ahead == 0)[..., None], state[:, None], reached)
        states[who] = np.where((ahead >= 0)[..., None], reached, states[who])
        packs = self.regimes.packs
        return _beyond(self.regimes, reached[..., -packs:], self.regime[who]) & (ahead > 0)


def _beyond(regimes: Regimes, pack_c: Array, regime: Whole) -> Flags:
    """Return where any pack (N, ..., packs) is outside the limits of its member's regime (N, packs)."""
    low, high = regimes.room(regime)
    beyond: Flags = np.any((pack_c < low[:, None]) | (pack_c > high[:, None]), axis=-1)
    return beyond


def step_members(
    run: Run,
    outside_c: Array,
    power: Array | None,
    start_c: Array,
    *,
    heater_w: Array | None = None,
    with_air: bool = False,
    until_h: Array | None = None,
) -> Trace:
    """Return the temperatures of the payload and, if asked for, of the air.

    `outside_c`, `power` and `heater_w` (K, N), degC and W, are straight between the knots. `power` is that of heat
    packs, which may freeze, `heater_w` that of anything else; None means there is none. `start_c` (N,) in degC holds
    for air, payload and walls; melting packs begin at their own temperature. `until_h` (N,): when each member is done;
    a pack that freezes later is not reported.
    """
    seats = run.seats()
    done_h = np.full(seats.shape, np.inf) if until_h is None else until_h[seats]
    outside, wanted = outside_c[:, seats], None if power is None else power[:, seats]
    steady = None if heater_w is None else heater_w[:, seats]
    inputs = 1 if wanted is None and steady is None else 2
    going = _MemberStates(run, start_c[seats])
    n, frozen = going.state.shape[1], np.zeros(seats.shape, bool)
    ever, kept = frozen.copy(), [AIR, PAYLOAD] if with_air else [PAYLOAD]
    read = [going.state[:, None, kept]]
    column = np.empty((len(seats), n + 2 * inputs, seats.shape[1]))
    for k, block in enumerate(time_blocks(run, inputs, (*kept, *range(going.first_pack, n)))):
        column[:, :n], column[:, n], column[:, n + inputs] = going.state, outside[k], outside[k + 1]
        if inputs == 2:
            column[:, n + 1], column[:, n + 3] = (0.0, 0.0) if steady is None else (steady[k], steady[k + 1])
        if wanted is not None:
            frozen = heat_packs.stalled(frozen, going.state[:, AIR], wanted[k])
            ever |= frozen & (run.hour[k] < done_h)
            column[:, n + 1] += np.where(frozen, 0.0, wanted[k])
            column[:, n + 3] += np.where(frozen, 0.0, wanted[k + 1])
        read.append(going.go(block, column)[:, :, : len(kept)].copy())
    return _trace(run, seats, np.concatenate(read, axis=1), ever, going.state[:, going.first_pack :])


def _trace(run: Run, seats: Whole, read: Array, ever: Flags, pack_c: Array) -> Trace:
    """Return the readings (G, M, nodes, seats) in the order of the members."""
    group, seat = np.empty(len(run.group), np.int64), np.empty(len(run.group), np.int64)
    # Backwards, so that a member repeated at the end of its group keeps its own seat.
    flat = seats.ravel()[::-1]
    group[flat], seat[flat] = (place.ravel()[::-1] for place in np.indices(seats.shape))
    air_c = read[group, :, 0, seat].T if read.shape[2] > 1 else np.empty((0, len(group)))
    return Trace(run.read_hours(), read[group, :, -1, seat].T, air_c, ever[group, seat], pack_c[group, :, seat])
