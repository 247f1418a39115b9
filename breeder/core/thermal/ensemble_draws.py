"""The members of a check: fixed draws of everything that is uncertain, made from a seed and only scaled afterwards.

Scaling fixed draws means that the same forecast gives the same odds to the digit, that more spread moves every member
further out on its own side, and that the first k members of 200 are the members of a screening with k.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]

HOURS = 264  # of weather error held by a set of draws: eleven days
DAYS = HOURS // 24 + 3  # begun days, and the low after the last
PLACES = 2  # origin and destination

# How the errors of one issue go together, 57 US cities 2014-17 (see forecast_error): highs of adjacent days 0.25-0.41,
# lows 0.26-0.40, two days apart 0.15, low and high of one day 0.06-0.26, a high and the next low 0.11-0.29.
SPELL_SHARE = 0.15  # of the variance that low and high share: a warm or cold spell missed
SPELL_KEPT = 0.70  # from one day to the next
OWN_KEPT = 0.23  # the same for what low and high have alone
TAIL_FREEDOM = 7.0  # errors have the tails of Student's t with 7 degrees of freedom (the same cities)

LEAK_MEDIAN, LEAK_SD_LN = 1.15, 0.20  # real boxes against reckoned ones (trade note; until the keeper fits a box)
LEAK_LEVELS = 8  # members share this many leaks, so that few response matrices are needed
PACK_SD_LN = 0.15  # energy of heat packs (judgement)
START_SD_K = 2.0
VAN_MEDIAN, VAN_SD_LN, VAN_LOW, VAN_HIGH = 0.010, 0.5, 0.003, 0.020  # K per W/m2, energy balance of a van
DOORSTEP_HIGH = 0.011  # K per W/m2: a brown box in full sun


@dataclass(frozen=True)
class Draws:
    """Standard draws of n members. Arrays are (n, ...): row k depends only on the seed and k."""

    seed: int
    lows: Array  # (n, PLACES, DAYS): unit errors of each day's low
    highs: Array  # (n, PLACES, DAYS): of its high
    tail: Array  # (n,): common stretch of a member's weather errors, mean square 1
    leak: Array  # (n,): one of LEAK_LEVELS values, unit standard deviation
    pack: Array  # (n,)
    van: Array  # (n,)
    doorstep: Array  # (n,)
    start: Array  # (n,)

    @property
    def members(self) -> int:
        """Return how many members there are."""
        return len(self.leak)

    def first(self, members: int) -> Draws:
        """Return the first members of the same set, for screening; asked again, the same object."""
        if members not in self._firsts:
            names = ("lows", "highs", "tail", "leak", "pack", "van", "doorstep", "start")
            self._firsts[members] = replace(self, **{name: getattr(self, name)[:members] for name in names})
        return self._firsts[members]

    @cached_property
    def _firsts(self) -> dict[int, Draws]:
        return {}

    def without_weather_error(self) -> Draws:
        """Return the same members for weather that is known: only box, packs, van, doorstep and start differ."""
        return replace(self, lows=np.zeros_like(self.lows), highs=np.zeros_like(self.highs))

    def leak_factor(self, median: float = LEAK_MEDIAN, sd_ln: float = LEAK_SD_LN) -> Array:
        """Return what multiplies the reckoned conductance, (n,): lognormal."""
        return median * np.exp(sd_ln * self.leak)

    def pack_energy(self, sd_ln: float = PACK_SD_LN) -> Array:
        """Return what multiplies the heat packs' energy, (n,): lognormal with median 1."""
        return np.exp(sd_ln * self.pack)

    def start_offset_k(self, sd_k: float = START_SD_K) -> Array:
        """Return what is added to the start temperature, (n,) in K."""
        return sd_k * self.start

    def van_gain(self, median: float = VAN_MEDIAN, sd_ln: float = VAN_SD_LN) -> Array:
        """Return a van's rise over the outside, (n,) in K per W/m2 of sun: lognormal, cut at 0.003 and 0.020."""
        return np.clip(median * np.exp(sd_ln * self.van), VAN_LOW, VAN_HIGH)

    def doorstep_gain(self, high: float = DOORSTEP_HIGH) -> Array:
        """Return a doorstep's rise over the outside, (n,) in K per W/m2: anywhere between shade and full sun."""
        return high * scipy.special.ndtr(self.doorstep)


def draws(seed: int, members: int = 200) -> Draws:
    """Return the draws of a seed; the first k of a larger set are those of a smaller one.

    Generator PCG64, members drawn one after another (row by row, in streams of their own for tails and leaks), so that
    a member never depends on how many there are.
    """
    if members < 1:
        raise ValueError(f"There are {members} members, but at least 1 is needed.")
    rng = np.random.default_rng([seed, 0])
    series = 3 * PLACES * DAYS
    normal = rng.standard_normal((members, 4 + series))
    spell, low, high = np.moveaxis(normal[:, 4:].reshape(members, 3, PLACES, DAYS), 1, 0)
    spell, low, high = _kept(spell, SPELL_KEPT), _kept(low, OWN_KEPT), _kept(high, OWN_KEPT)
    common, alone = np.sqrt(SPELL_SHARE), np.sqrt(1.0 - SPELL_SHARE)
    tail = np.random.default_rng([seed, 2]).chisquare(TAIL_FREEDOM, members)
    return Draws(
        seed,
        common * spell + alone * low,
        common * spell + alone * high,
        np.sqrt((TAIL_FREEDOM - 2.0) / tail),
        _levels(seed, members),
        *(normal[:, place] for place in range(4)),
    )


def _kept(noise: Array, kept: float) -> Array:
    """Return unit series along the last axis that keep so much of each day for the next, from white noise."""
    series = noise.copy()
    series[..., 1:] *= np.sqrt(1.0 - kept**2)
    # By hand: importing a filter for one recursion would cost every command most of a second.
    for day in range(1, series.shape[-1]):
        series[..., day] += kept * series[..., day - 1]
    return series


def _levels(seed: int, members: int) -> Array:
    """Return one of the equally likely leak levels per member; every eight members hold each level once."""
    levels = scipy.special.ndtri((np.arange(LEAK_LEVELS) + 0.5) / LEAK_LEVELS)
    levels /= np.sqrt(np.mean(levels**2))
    rng = np.random.default_rng([seed, 1])  # its own stream, so that blocks do not depend on the number of members
    blocks = [rng.permutation(levels) for _ in range(-(-members // LEAK_LEVELS))]
    return np.concatenate(blocks)[:members]
