"""Draw the members of a check: everything uncertain is drawn once from a seed and only scaled afterward.

Because the draws are fixed, the same forecast gives exactly the same odds, a wider spread moves every member further
out on its side, and the first k members of 200 are the members of a screening with k.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import NDArray

Array = NDArray[np.float64]

HOURS = 264  # hours of weather error in a set of draws: eleven days
DAYS = HOURS // 24 + 3  # days that begin in those hours, and the low after the last
PLACES = 2  # origin and destination

# How the errors of one forecast are correlated, 57 US cities 2014-17 (see forecast_error): highs of adjacent days
# 0.25-0.41, lows 0.26-0.40, two days apart 0.15, low and high of one day 0.06-0.26, a high and the next low 0.11-0.29.
SPELL_SHARE = 0.15  # of the variance is shared by low and high: a warm or cold spell that the forecast missed
SPELL_KEPT = 0.70  # correlation of a spell from one day to the next
OWN_KEPT = 0.23  # the same for the part that low and high do not share
TAIL_FREEDOM = 7.0  # errors have the tails of Student's t with 7 degrees of freedom (the same cities)

LEAK_MEDIAN, LEAK_SD_LN = 1.15, 0.20  # real boxes against computed ones (trade note; until the keeper fits a box)
LEAK_LEVELS = 8  # members share this many leak factors, so that few response matrices are needed
PACK_SD_LN = 0.15  # energy of heat packs (judgment)
START_SD_K = 2.0
VAN_MEDIAN, VAN_SD_LN, VAN_LOW, VAN_HIGH = 0.010, 0.5, 0.003, 0.020  # K per W/m2, energy balance of a van
DOORSTEP_HIGH = 0.011  # K per W/m2: a brown box in full sun


@dataclass(frozen=True)
class Draws:
    """Standard draws of n members. Arrays are (n, ...): row k depends only on the seed and k."""

    seed: int
    lows: Array  # (n, PLACES, DAYS): error of each day's low in standard deviations
    highs: Array  # (n, PLACES, DAYS): the same for its high
    tail: Array  # (n,): factor on all weather errors of a member, mean square 1
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
        """Return the first members of the same set, for screening; always the same object."""
        if members not in self._firsts:
            names = ("lows", "highs", "tail", "leak", "pack", "van", "doorstep", "start")
            self._firsts[members] = replace(self, **{name: getattr(self, name)[:members] for name in names})
        return self._firsts[members]

    @cached_property
    def _firsts(self) -> dict[int, Draws]:
        return {}

    def without_weather_error(self) -> Draws:
        """Return the same members for known weather: they differ only in box, packs, van, doorstep and start."""
        return replace(self, lows=np.zeros_like(self.lows), highs=np.zeros_like(self.highs))

    def leak_factor(self, median: float = LEAK_MEDIAN, sd_ln: float = LEAK_SD_LN) -> Array:
        """Return the factor on the computed conductance, (n,): lognormal."""
        return median * np.exp(sd_ln * self.leak)

    def pack_energy(self, sd_ln: float = PACK_SD_LN) -> Array:
        """Return the factor on the energy of the heat packs, (n,): lognormal with median 1."""
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
    """Return the draws of a seed; the first k members of a larger set equal those of a smaller set.

    Uses the generator PCG64 and draws members row by row, with separate streams for tails and leaks, so that a member
    never depends on how many there are.
    """
    if members < 1:
        raise ValueError(f"There are {members} members, but at least 1 is needed.")
    rng = np.random.default_rng([seed, 0])
    series = 3 * PLACES * DAYS
    normal = rng.standard_normal((members, 4 + series))
    spell, low, high = np.moveaxis(normal[:, 4:].reshape(members, 3, PLACES, DAYS), 1, 0)
    spell, low, high = (
        _autocorrelated(spell, SPELL_KEPT),
        _autocorrelated(low, OWN_KEPT),
        _autocorrelated(high, OWN_KEPT),
    )
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


def _autocorrelated(noise: Array, correlation: float) -> Array:
    """Return series along the last axis with this correlation from day to day and variance 1, from white noise."""
    series = noise.copy()
    series[..., 1:] *= np.sqrt(1.0 - correlation**2)
    # Written as a loop: importing a filter for one recursion would cost every command most of a second.
    for day in range(1, series.shape[-1]):
        series[..., day] += correlation * series[..., day - 1]
    return series


def _levels(seed: int, members: int) -> Array:
    """Return the leak level of each member; among every eight members each level occurs once."""
    levels = scipy.special.ndtri((np.arange(LEAK_LEVELS) + 0.5) / LEAK_LEVELS)
    levels /= np.sqrt(np.mean(levels**2))
    rng = np.random.default_rng([seed, 1])  # a separate stream, so that blocks do not depend on the number of members
    blocks = [rng.permutation(levels) for _ in range(-(-members // LEAK_LEVELS))]
    return np.concatenate(blocks)[:members]
