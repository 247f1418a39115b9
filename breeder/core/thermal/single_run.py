"""Simulate one kit or bare network over any times: weather, heaters and packs, read every minute.

This is the slow, general way, for documents of ``manage.py reckon``. `simulation` is the fast way for many members of
hourly weather.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .box import Network, network
from .kit import HeatPack, PhaseChangePack, ThermalKit
from .packs import Burning
from .phase_change import pack_regimes
from .regime_stepper import Trace, step_members
from .transition_matrices import Run

Array = NDArray[np.float64]

LONGEST_RUN_H = 2000.0
SAME_TIME_DIGITS = 9  # of an hour: knots nearer than four microseconds are one
BLOCKS_PER_HOUR = 12  # if there are packs, which need short blocks
READINGS_PER_BLOCK = 5  # one a minute
PIECES_PER_READING = 6  # steps of ten seconds in which a pack that leaves its regime is followed


@dataclass(frozen=True)
class Packed:
    """A network with its packs; `free_litres` (liters) None: plenty of oxygen for the heat packs."""

    network: Network
    heat_packs: tuple[HeatPack, ...] = ()
    phase_change_packs: tuple[PhaseChangePack, ...] = ()
    free_litres: float | None = None
    air_changes_h: float = 0.6

    def burn(self, hour: Array) -> Burning:
        """Return how the heat packs burn at hours of the run, while they are not frozen."""
        return heat_packs.burn(self.heat_packs, hour, air_changes_h=self.air_changes_h, free_litres=self.free_litres)

    def pack_power_w(self, hour: Array) -> Array:
        """Return the power of all heat packs together at hours of the run, W, while they are not frozen."""
        return sum(self.burn(hour).power_w, np.zeros(len(hour)))


def packed(kit: ThermalKit) -> Packed:
    """Return a kit as the network that verdicts use, with its packs and its oxygen."""
    return Packed(network(kit), kit.heat_packs, kit.phase_change_packs, kit.free_litres, kit.box.air_changes_h)


@dataclass(frozen=True)
class Series:
    """A quantity that is straight between its hours (K,) and constant outside them; values (K, N)."""

    hours: Array
    values: Array

    def at(self, hour: Array) -> Array:
        """Return the values (len(hour), N)."""
        return np.stack([np.interp(hour, self.hours, column) for column in self.values.T], axis=1)


def run(
    what: Packed,
    outside_c: Series,
    start_c: float,
    *,
    end_h: float,
    heater_w: Series | None = None,
    also: Sequence[float] = (),
) -> Trace:
    """Return air and payload from hour 0 to `end_h`, read at least every minute and at each hour of `also`.

    Assumes everything at `start_c` degC at hour 0, melting packs at their own start. `heater_w`: power in addition to
    the packs', W. Raises ValueError for runs longer than 2000 h.
    """
    if not 0.0 <= end_h <= LONGEST_RUN_H:
        raise ValueError(f"The run ends at hour {end_h:g}, but it must end between 0 and {LONGEST_RUN_H:g}.")
    members = outside_c.values.shape[1]
    has_packs = bool(what.heat_packs or what.phase_change_packs)
    knots = _knots(what, outside_c, heater_w, also, end_h, BLOCKS_PER_HOUR if has_packs else 1)
    outside = outside_c.at(knots)
    pack_w = np.repeat(what.pack_power_w(knots)[:, None], members, axis=1) if what.heat_packs else None
    heater = None if heater_w is None else np.broadcast_to(heater_w.at(knots), outside.shape)
    blocks, every = len(knots) - 1, PIECES_PER_READING if what.phase_change_packs else 1
    readings = READINGS_PER_BLOCK if has_packs else READINGS_PER_BLOCK * BLOCKS_PER_HOUR
    seating = Run(
        networks=((what.network,),),
        regimes=pack_regimes(what.phase_change_packs),
        hour=knots,
        pieces=np.full(blocks, readings * every),
        every=every,
        group=np.zeros(members, np.int64),
        level=np.zeros(1, np.int64),
        film=np.zeros((blocks, 1), np.int64),
    )
    return step_members(seating, outside, pack_w, np.full(members, start_c), heater_w=heater, with_air=True)


def _knots(
    what: Packed, outside_c: Series, heater_w: Series | None, also: Sequence[float], end_h: float, per_hour: int
) -> Array:
    """Return every time within the run at which an input bends."""
    bends = [np.arange(int(np.ceil(end_h * per_hour)) + 1) / per_hour, outside_c.hours, [0.0, end_h], list(also)]
    bends += [] if heater_w is None else [heater_w.hours]
    for pack in what.heat_packs:
        bends.append([pack.lit_h, pack.lit_h + heat_packs.PLATEAU_SHARE * pack.rated_h])
    every = np.round(np.concatenate([np.asarray(each, dtype=float) for each in bends]), SAME_TIME_DIGITS)
    return np.unique(every[(every >= 0.0) & (every <= round(end_h, SAME_TIME_DIGITS))])


def read_at(trace: Trace, hours: Sequence[float]) -> list[int]:
    """Return the row of each hour; the hours must have been passed as `also`."""
    return [int(np.abs(trace.hour - hour).argmin()) for hour in hours]
