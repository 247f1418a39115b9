"""What the animals feel, for many members at once: hourly weather in, the payload's temperature out.

Kits without melting packs are one matrix product per leak level; melting packs and frozen heat packs are marched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .box import FILMS, Network, network
from .kit import Kit
from .march import Run, march
from .phase import regimes_of
from .stepping import FINE_PER_HOUR, responses

Array = NDArray[np.float64]

PER_HOUR = 4  # readings an hour: the payload moves by under 0.01 K between them
ENERGY_NODES = (0.55, 0.85, 1.25, 1.75)  # where pack power is reckoned; between them a cubic is within 0.1 %
PIECES_PER_HOUR = 32  # in which a melting pack that leaves its regime is followed
WARM_UP_H = 6  # of a heat pack: eight times its rise, after which its power is straight over an hour


@dataclass(frozen=True)
class Inside:
    """The payload at readings `hour` (M,), each member a column of `payload_c` (M, N), in degC."""

    hour: Array
    payload_c: Array
    stalled: NDArray[np.bool_]  # (N,): a heat pack froze


def inside(
    kit: Kit,
    ambient_c: Array,
    *,
    start_c: float | Array,
    leak: Array | None = None,
    pack_energy: Array | None = None,
    film_by_hour: Sequence[str] | None = None,
    per_hour: int = PER_HOUR,
) -> Inside:
    """Return the payload's temperature over the run for each member.

    Assumes weather straight between whole hours and everything at `start_c` (number or (N,)) at hour 0, melting packs
    at their own start. `ambient_c` (hours + 1, N) in degC, finite: a missing hour is the caller's matter.
    `leak` (N,) multiplies the box's conductance, `pack_energy` (N,) the heat packs' energy. `film_by_hour`: one of
    `box.FILMS` for each of the hours; without it the box's own film. `per_hour` readings: 1, 2 or 4.
    Raises ValueError for shapes that do not fit or values that are not finite.
    """
    weather = np.asarray(ambient_c, dtype=float)
    if weather.ndim != 2 or len(weather) < 2:
        raise ValueError("The weather must be hours + 1 rows of at least one member, and at least two rows.")
    if not np.isfinite(weather).all():
        raise ValueError("The weather has missing hours; fill or cut them before, and count the member as unknown.")
    members = weather.shape[1]
    start = np.broadcast_to(np.asarray(start_c, dtype=float), (members,))
    factors = np.ones(members) if leak is None else np.asarray(leak, dtype=float)
    energy = np.ones(members) if pack_energy is None else np.asarray(pack_energy, dtype=float)
    films = _films(film_by_hour, len(weather) - 1)
    if kit.phase_change_packs:
        return _marched(kit, weather, start, factors, energy, films, per_hour)
    found = _multiplied(kit, weather, start, factors, energy, films, per_hour)
    if kit.heat_packs:
        found = _with_stalls(kit, found, weather, start, factors, energy, films)
    return found


def _films(film_by_hour: Sequence[str] | None, hours: int) -> tuple[str | None, ...]:
    if film_by_hour is None:
        return (None,) * hours
    if len(film_by_hour) != hours:
        raise ValueError(f"There are films for {len(film_by_hour)} hours, but the weather has {hours}.")
    return tuple(film_by_hour)


def _film_w_m2k(film: str | None) -> float | None:
    return None if film is None else FILMS[film]


@lru_cache(maxsize=512)
def _networks(kit: Kit, film: str | None, levels: tuple[float, ...]) -> tuple[Network, ...]:
    base = network(kit, _film_w_m2k(film))
    return tuple(base.leaking(level) for level in levels)


@lru_cache(maxsize=48)
def _matrix(kit: Kit, films: tuple[str | None, ...], levels: tuple[float, ...], per_hour: int, node: int) -> Array:
    """Return the response matrix (levels, readings, columns) of a kit to weather, start and pack power."""
    power = None
    if kit.heat_packs:
        knots = np.arange(len(films) * FINE_PER_HOUR + 1) / FINE_PER_HOUR
        power = np.stack([heat_packs.kit_power_w(kit, knots, energy) for energy in ENERGY_NODES])
    return responses(tuple(_networks(kit, film, levels) for film in films), power, per_hour, node)


def energy_weights(energy: Array) -> Array:
    """Return (nodes, N): how much of each node's power series a member of that pack energy gets (cubic)."""
    nodes = np.array(ENERGY_NODES)
    weights = np.ones((len(nodes), len(energy)))
    for j, node in enumerate(nodes):
        for other in np.delete(nodes, j):
            weights[j] *= (energy - other) / (node - other)
    return weights


def _multiplied(
    kit: Kit, weather: Array, start: Array, leak: Array, energy: Array, films: tuple[str | None, ...], per_hour: int, node: int = 1
) -> Inside:
    levels, which = np.unique(leak, return_inverse=True)
    matrix = _matrix(kit, films, tuple(float(level) for level in levels), per_hour, node)
    columns = np.concatenate([weather, start[None], *([energy_weights(energy)] if kit.heat_packs else [])])
    out = np.empty((matrix.shape[1], len(start)))
    for level in range(len(levels)):
        who = np.flatnonzero(which == level)
        out[:, who] = matrix[level] @ columns[:, who]
    return Inside(np.arange(len(out)) / per_hour, out, np.zeros(len(start), bool))


def _with_stalls(
    kit: Kit, found: Inside, weather: Array, start: Array, leak: Array, energy: Array, films: tuple[str | None, ...]
) -> Inside:
    """Return the same, with members in whose box a heat pack freezes marched instead."""
    cold = np.flatnonzero((weather.min(axis=0) < heat_packs.FREEZING_C) | (start < heat_packs.FREEZING_C))
    if not len(cold):
        return found
    per_hour = round(1.0 / float(found.hour[1]))
    air = _multiplied(kit, weather[:, cold], start[cold], leak[cold], energy[cold], films, per_hour, node=0)
    power = heat_packs.kit_power_w(kit, air.hour[:, None], energy[cold])
    frozen = heat_packs.stalled(np.zeros(power.shape, bool), air.payload_c, power).any(axis=0)
    who = cold[frozen]
    if not len(who):
        return found
    again = _marched(kit, weather[:, who], start[who], leak[who], energy[who], films, per_hour)
    payload, stalled = found.payload_c.copy(), found.stalled.copy()
    payload[:, who], stalled[who] = again.payload_c, again.stalled
    return Inside(found.hour, payload, stalled)


def _marched(
    kit: Kit, weather: Array, start: Array, leak: Array, energy: Array, films: tuple[str | None, ...], per_hour: int
) -> Inside:
    """March in blocks of an hour or less. `per_hour` must divide 4."""
    names = tuple(dict.fromkeys(films))
    levels, level = np.unique(leak, return_inverse=True)
    key = tuple(float(one) for one in levels)
    run = Run(tuple(_networks(kit, name, key) for name in names), level, regimes_of(kit.phase_change_packs))
    hours = len(weather) - 1
    knots = _knots(kit, hours, may_freeze=float(weather.min()) < heat_packs.FREEZING_C)
    at = np.minimum(knots.astype(int), hours - 1)
    film = np.array([names.index(films[hour]) for hour in at[:-1]])
    share = (knots - at)[:, None]
    outside = weather[at] * (1.0 - share) + weather[at + 1] * share
    power = heat_packs.kit_power_w(kit, knots[:, None], energy) if kit.heat_packs else np.zeros_like(outside)
    per_piece = PIECES_PER_HOUR if run.regimes.packs else PER_HOUR
    pieces = np.rint(np.diff(knots) * per_piece).astype(int)
    trace = march(run, knots, outside, power, start, pieces=pieces, every=per_piece // PER_HOUR, film=film)
    reading = slice(None, None, PER_HOUR // per_hour)
    return Inside(trace.hour[reading], trace.payload_c[reading], trace.stalled)


def _knots(kit: Kit, hours: int, *, may_freeze: bool) -> Array:
    """Return block ends: hours; quarters until a heat pack has warmed up, or throughout where it may freeze."""
    warm = max((pack.lit_h + WARM_UP_H for pack in kit.heat_packs), default=0.0)
    quarters = hours if kit.heat_packs and may_freeze else int(np.clip(np.ceil(warm), 0, hours))
    return np.concatenate([np.arange(quarters * PER_HOUR) / PER_HOUR, np.arange(quarters, hours + 1)])
