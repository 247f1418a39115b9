"""Build the matrices of a block of time for every film, leak level and combination of regimes, and cache them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from .box import Network
from .first_order_hold import reach
from .materials import SECONDS_PER_HOUR
from .phase_change import Regimes

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
Packs = tuple[tuple[tuple[float, float], ...], ...]  # for each regime combination: capacity and contact of each pack

LONGEST_UNWATCHED_S = 900.0  # between two looks at the regime of a melting pack; hourly looks err by several K


@dataclass(frozen=True)
class Run:
    """What is stepped and when: networks by film and leak level, the group of each member, blocks between the knots.

    `group` (N,) is the group of each member; `level` (G,) is the leak level of a group and `film` (K-1, G) its film in
    each block. `pieces` (K-1,) per block is a multiple of `every`: melting packs are watched at every `every`-th piece,
    which is also read, and at each piece once one has left its regime. Raises ValueError if that is too seldom.
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

    @property
    def walls(self) -> int:
        """Return how many wall nodes there are; the state is air, payload, walls, packs."""
        return len(self.networks[0][0].wall_j_k)

    def seats(self) -> Whole:
        """Return the member on each seat (G, seats); a group with fewer members repeats its first one."""
        order = np.argsort(self.group, kind="stable")
        many = np.bincount(self.group, minlength=len(self.level))
        first = np.cumsum(many) - many
        place = np.arange(int(many.max()))[None, :]
        seats: Whole = order[first[:, None] + np.where(place < many[:, None], place, 0)]
        return seats

    def read_hours(self) -> Array:
        """Return the hours of the readings: the start, then every `every`-th piece."""
        parts = [
            begin + (end - begin) * np.arange(self.every, many + 1, self.every) / many
            for begin, end, many in zip(self.hour[:-1], self.hour[1:], self.pieces, strict=True)
        ]
        return np.concatenate([self.hour[:1], *parts])


@dataclass(frozen=True)
class Block:
    """The matrices of one block: states at each piece from [state, inputs at its start, inputs at its end].

    `fine` (C, G, pieces, n, w) for regime combinations C and groups G, w = n + 2 m with m inputs.
    """

    fine: Array
    every: int
    watched: tuple[int, ...]  # nodes that each reading holds

    @property
    def readings(self) -> int:
        """Return how many readings there are in the block."""
        return int(self.fine.shape[2]) // self.every

    @cached_property
    def seen(self) -> Array:
        """Return (C, G, readings * watched + n, w): the watched nodes at each reading, then the state at the end."""
        c, g, _, _, w = self.fine.shape
        readings = self.fine[:, :, self.every - 1 :: self.every, list(self.watched)].reshape(c, g, -1, w)
        return np.concatenate([readings, self.fine[:, :, -1]], axis=2)

    def reached(self, code: Whole, group: Whole, piece: Whole, column: Array, last: int | None = None) -> Array:
        """Return the states (N, P, n) of single members at some pieces, or only the `last` nodes of them.

        `code` and `group` (N,), `piece` (N, P) or (P,), `column` (N, w).
        """
        groups, pieces, n, w = self.fine.shape[1:]
        rows = last or n
        if rows not in self._rows:
            self._rows[rows] = np.ascontiguousarray(self.fine[..., n - rows :, :]).reshape(-1, rows, w)
        at = ((code * groups + group) * pieces)[:, None] + piece
        # Taking rows and summing is twice as fast as a stack of small matrix products.
        states: Array = np.einsum("nprw,nw->npr", self._rows[rows].take(at, axis=0), column)
        return states

    @cached_property
    def _rows(self) -> dict[int, Array]:
        return {}

    @cached_property
    def _joined(self) -> dict[tuple[int, ...], Array]:
        return {}

    def through(self, column: Array, code: Whole) -> Array:
        """Return `seen` times the columns (G, w, m), each member by the matrix of its combination `code` (G, m).

        Several combinations take one product: each gets its own rows of the column, which are zero for other members.
        """
        present = (0,) if len(self.fine) == 1 else tuple(np.flatnonzero(np.bincount(code.ravel())).tolist())
        if len(present) == 1:
            single: Array = self.seen[present[0]] @ column
            return single
        if present not in self._joined:
            self._joined[present] = np.concatenate([self.seen[combination] for combination in present], axis=2)
        w = column.shape[1]
        spread = np.empty((column.shape[0], w * len(present), column.shape[2]))
        for place, combination in enumerate(present):
            np.multiply(column, (code == combination)[:, None], out=spread[:, place * w : (place + 1) * w])
        product: Array = self._joined[present] @ spread
        return product


@lru_cache(maxsize=256)
def _level_reach(networks: tuple[Network, ...], packs: Packs, inputs: int, seconds: float, pieces: int) -> Array:
    """Return (C, levels, pieces, n, w)."""
    pairs = [[network.matrices(each) for network in networks] for each in packs]
    a = np.array([[a for a, _ in row] for row in pairs])
    b = np.array([[b[:, :inputs] for _, b in row] for row in pairs])
    return reach(a, b, seconds, pieces)


@lru_cache(maxsize=32)
def _block(
    networks: tuple[tuple[Network, ...], ...],
    level: tuple[int, ...],
    packs: Packs,
    inputs: int,
    seconds: float,
    pieces: int,
    every: int,
    watched: tuple[int, ...],
) -> Block:
    """Return the matrices of one kind of block; `networks` are those of each group's film."""
    reaches = [
        _level_reach(each, packs, inputs, seconds, pieces)[:, at] for each, at in zip(networks, level, strict=True)
    ]
    return Block(np.stack(reaches, axis=1), every, watched)


def time_blocks(run: Run, inputs: int, watched: tuple[int, ...]) -> Iterator[Block]:
    """Yield the matrices of each block in turn."""
    packs, level = tuple(run.regimes.combinations()), tuple(int(at) for at in run.level)
    seconds = np.round(np.diff(run.hour) * SECONDS_PER_HOUR, 6)
    before: tuple[object, ...] = ()
    for k in range(len(seconds)):
        key = (seconds[k], run.pieces[k], run.film[k].tobytes())
        if key != before:
            networks = tuple(run.networks[film] for film in run.film[k])
            each = (float(seconds[k]), int(run.pieces[k]), run.every, watched)
            block, before = _block(networks, level, packs, inputs, *each), key
        yield block
