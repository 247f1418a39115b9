"""The members of a check: fixed draws of everything that is uncertain, made from a seed and only scaled afterwards.

Scaling fixed draws means that the same forecast gives the same odds to the digit, that more spread moves every member
further out on its own side, and that the first k members of 200 are the members of a screening with k.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

Array = NDArray[np.float64]

HOURS = 264  # of weather error held by a set of draws: eleven days
DAYS = HOURS // 24 + 1
PLACES = 2  # origin and destination

# Forecast error of daily highs by lead day 0..5: 1.964 x 1.1105^day degC, 113 US cities 2014-17 (ASA Data Expo 2018).
SIGMA_DAY_0_C = 1.964
SIGMA_GROWTH = 1.1105
SIGMA_TODAY = 0.85  # forecasts of 2021-22 against those (judgement from 167 cities)
SIGMA_CAP_C = 4.5  # no forecast is worse than climate
SEASON_FACTOR = {"winter": 1.15, "spring": 1.06, "summer": 0.88, "autumn": 0.94}
ERROR_HOURS = 22.0  # time constant of the error, from adjacent days' revisions
SHARED_SD = 0.79  # of the slow error, in parts of sigma
RANGE_SD = 1.22  # of the error of the day's range; half of it at the high, minus half at the low
TAIL_FREEDOM = 7.0  # errors have the tails of Student's t with 7 degrees of freedom (the same 113 cities)

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
    slow: Array  # (n, PLACES, HOURS): unit AR(1) series by hour
    day_range: Array  # (n, PLACES, DAYS)
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
        """Return the first members of the same set, for screening."""
        names = ("slow", "day_range", "tail", "leak", "pack", "van", "doorstep", "start")
        return replace(self, **{name: getattr(self, name)[:members] for name in names})

    def without_weather_error(self) -> Draws:
        """Return the same members for weather that is known: only box, packs, van, doorstep and start differ."""
        return replace(self, slow=np.zeros_like(self.slow), day_range=np.zeros_like(self.day_range))

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
        return high * ndtr(self.doorstep)


def draws(seed: int, members: int = 200) -> Draws:
    """Return the draws of a seed; the first k of a larger set are those of a smaller one.

    Generator PCG64, members drawn one after another, so that a member never depends on how many there are.
    """
    if members < 1:
        raise ValueError(f"There are {members} members, but at least 1 is needed.")
    rng = np.random.default_rng([seed, 0])
    width = PLACES * HOURS + PLACES * DAYS + 4
    normal = np.empty((members, width))
    tail = np.empty(members)
    for member in range(members):
        normal[member] = rng.standard_normal(width)
        tail[member] = rng.chisquare(TAIL_FREEDOM)
    slow, day_range = np.split(normal[:, 4:], [PLACES * HOURS], axis=1)
    return Draws(
        seed,
        _slow(slow.reshape(members, PLACES, HOURS)),
        day_range.reshape(members, PLACES, DAYS),
        np.sqrt((TAIL_FREEDOM - 2.0) / tail),
        _levels(seed, members),
        *(normal[:, place] for place in range(4)),
    )


def _slow(noise: Array) -> Array:
    """Return unit AR(1) series along the last axis from white noise."""
    keep = np.exp(-1.0 / ERROR_HOURS)
    noise[..., 1:] *= np.sqrt(1.0 - keep**2)
    # By hand: importing a filter for one recursion would cost every command most of a second.
    for hour in range(1, noise.shape[-1]):
        noise[..., hour] += keep * noise[..., hour - 1]
    return noise


def _levels(seed: int, members: int) -> Array:
    """Return one of the equally likely leak levels per member; every eight members hold each level once."""
    levels = ndtri((np.arange(LEAK_LEVELS) + 0.5) / LEAK_LEVELS)
    levels /= np.sqrt(np.mean(levels**2))
    rng = np.random.default_rng([seed, 1])  # its own stream, so that blocks do not depend on the number of members
    blocks = [rng.permutation(levels) for _ in range(-(-members // LEAK_LEVELS))]
    return np.concatenate(blocks)[:members]


def sigma_c(lead_days: ArrayLike, season: str | None = None) -> Array:
    """Return the standard deviation of a daily high's forecast error, degC, at lead days (any shape, fractions too).

    Assumes growth of 11 % a day and today's forecasts 15 % better than those of 2014-17; never above 4.5.
    `season`: winter, spring, summer, autumn, or None for the year's mean.
    """
    factor = SIGMA_TODAY * (1.0 if season is None else SEASON_FACTOR[season])
    grown = SIGMA_DAY_0_C * SIGMA_GROWTH ** np.maximum(np.asarray(lead_days, dtype=float), 0.0)
    return np.minimum(factor * grown, SIGMA_CAP_C)


def correlation(km: float) -> float:
    """Return how the errors of two places at a distance in km go together: 0.65 exp(-d/400 km), 1 at one place.

    Fitted to true errors at lead 1 of 113 US cities: 0.55 under 150 km, 0.39, 0.24 at 300-500 km, 0.13, 0.06.
    """
    return 1.0 if km < 1.0 else 0.65 * float(np.exp(-km / 400.0))


def time_of_day(local_hour: Array) -> Array:
    """Return -1/2 at 6 h, the usual low, and +1/2 at 15 h, the usual high, with cosines between, any shape."""
    hour = np.mod(np.asarray(local_hour, dtype=float) - 6.0, 24.0)
    rising = -0.5 * np.cos(np.pi * hour / 9.0)
    falling = 0.5 * np.cos(np.pi * (hour - 9.0) / 15.0)
    return np.where(hour < 9.0, rising, falling)


def weather_error_c(
    drawn: Draws, *, hour: NDArray[np.int64], sigma: Array, local_hour: Array, place: int = 0, together: float = 0.0
) -> Array:
    """Return what is added to the forecast, (H, n) in degC: a slow error and an error of each day's range.

    `hour` (H,): whole hours since one midnight common to all legs of the check; `sigma` (H,) in degC by lead;
    `local_hour` (H,): hour of the local day. `place` 0 origin, 1 destination, whose errors go `together` (0 to 1)
    with the origin's. Raises ValueError for hours beyond the draws.
    """
    if hour.min() < 0 or hour.max() >= HOURS:
        raise ValueError(f"The hours run from {hour.min()} to {hour.max()}, but draws hold 0 to {HOURS - 1}.")
    own = np.sqrt(1.0 - together**2)
    mix = (lambda z: z[:, 0]) if place == 0 else (lambda z: together * z[:, 0] + own * z[:, 1])
    slow = mix(drawn.slow)[:, hour]
    days = mix(drawn.day_range)[:, hour // 24]
    unit = SHARED_SD * slow + RANGE_SD * days * time_of_day(local_hour)
    return (unit * drawn.tail[:, None]).T * np.asarray(sigma)[:, None]
