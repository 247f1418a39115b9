"""Model the errors of a forecast: at the day's low and high, by lead and season, and how they are correlated.

The figures were computed for this project from daily forecasts of the US National Weather Service and airport
measurements of the same days, 57 US cities, July 2014 to September 2017 (data of the ASA Data Expo 2018), about 57,000
pairs per lead. They hold for those years: forecasts may have improved since, which is not counted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .diurnal import HIGH_LAG_H, LOW_LAG_H, NIGHT_DECAY
from .ensemble_draws import HOURS, SPELL_KEPT, SPELL_SHARE, Draws

Array = NDArray[np.float64]

# Standard deviation around the mean error, degC, for 0 to 5 days after an issue in the early morning. The low of that
# same morning has already passed, so its value is extrapolated from the next ones.
HIGH_SD_C = (1.91, 2.11, 2.34, 2.60, 2.90, 3.27)
LOW_SD_C = (2.12, 2.19, 2.28, 2.42, 2.59, 2.81)
GROWTH_BEYOND = 1.11  # factor per day, from the last steps of the table
SD_CAP_C = 4.5  # no forecast is worse than climate
HIGH_SEASON = {"winter": 1.13, "spring": 1.08, "summer": 0.87, "autumn": 0.93}
LOW_SEASON = {"winter": 1.22, "spring": 0.99, "summer": 0.78, "autumn": 1.03}
LOW_AT_H, HIGH_AT_H = 6.0, 15.0  # local hours of the usual low and high
# What to add to a daily forecast of that service before a place has its own figures: days turn out warmer, and nights
# colder, than forecast.
USUAL_LOW_BIAS_C, USUAL_HIGH_BIAS_C = -0.65, 0.50

# Correlation between the errors of two places: 0.55 under 150 km, 0.39, 0.24 at 300-500 km, 0.13, 0.06 far apart.
TOGETHER_NEAR, TOGETHER_FALLS_KM = 0.65, 400.0

SEASONS = ("winter", "spring", "summer", "autumn")
DAY_H = 12.0  # from sunrise at 6 to sunset at 18 h, as at the equinox


def high_sd_c(lead_days: ArrayLike, season: str | None = None) -> Array:
    """Return the standard deviation of the error at a day's high, degC, at days from the issue (any shape, fractions).

    `season`: winter, spring, summer, autumn, or None for the year's mean. Never above 4.5.
    """
    days = np.asarray(lead_days, dtype=float) - (HIGH_AT_H - LOW_AT_H) / 24.0
    return _sd_c(days, HIGH_SD_C, 1.0 if season is None else HIGH_SEASON[season])


def low_sd_c(lead_days: ArrayLike, season: str | None = None) -> Array:
    """Return the standard deviation of the error at a day's low, as `high_sd_c` for the high."""
    return _sd_c(np.asarray(lead_days, dtype=float), LOW_SD_C, 1.0 if season is None else LOW_SEASON[season])


def season_name(month: int, latitude: float) -> str:
    """Return the meteorological season of a month, 1 to 12, at a latitude in degrees."""
    quarter = month % 12 // 3
    return SEASONS[quarter if latitude >= 0 else (quarter + 2) % 4]


def _sd_c(days: Array, table: tuple[float, ...], factor: float) -> Array:
    last = len(table) - 1
    measured = np.interp(days, np.arange(last + 1.0), table)
    return np.minimum(factor * measured * GROWTH_BEYOND ** np.maximum(days - last, 0.0), SD_CAP_C)


def sd_c(lead_days: ArrayLike, local_hour: ArrayLike, season: str | None = None) -> Array:
    """Return the standard deviation of the error at hours of the local day, degC: between that of low and high."""
    share = high_share(local_hour)
    return share * high_sd_c(lead_days, season) + (1.0 - share) * low_sd_c(lead_days, season)


def usual_bias_c(local_hour: ArrayLike) -> Array:
    """Return what to add to such a forecast at hours of the local day before a place has its own figures, degC."""
    share = high_share(local_hour)
    return share * USUAL_HIGH_BIAS_C + (1.0 - share) * USUAL_LOW_BIAS_C


def correlation(km: float) -> float:
    """Return the correlation of the errors of two places this many km apart: 0.65 exp(-d/400 km); 1 at one place."""
    return 1.0 if km < 1.0 else TOGETHER_NEAR * float(np.exp(-km / TOGETHER_FALLS_KM))


def high_share(local_hour: ArrayLike) -> Array:
    """Return the weight of the day's high in each local hour, 0 to 1; the rest is the weight of the nearest low.

    A sine by day, a decay to the next low by night, for a day of twelve hours. Source: Parton & Logan 1981.
    """
    hour = np.mod(np.asarray(local_hour, dtype=float) - LOW_AT_H, 24.0)
    by_day = np.sin(np.pi * (np.minimum(hour, DAY_H) - LOW_LAG_H) / (DAY_H + 2.0 * HIGH_LAG_H))
    night = np.exp(-NIGHT_DECAY * np.maximum(hour - DAY_H, 0.0) / (24.0 - DAY_H))
    return by_day * night


def error_c(
    drawn: Draws,
    *,
    hour: NDArray[np.int64],
    local_hour: Array,
    sd: Array,
    place: int = 0,
    together: float = 0.0,
) -> Array:
    """Return what to add to the forecast, (H, n) in degC: the errors of each day's low and high, mixed between them.

    `hour` (H,): whole hours since the start of the check; `local_hour` (H,): hour of the local day; `sd` (H,) in
    degC, as from `sd_c`. `place` is 0 for the origin and 1 for the destination, whose errors have the correlation
    `together` (0 to 1) with those of the origin. A greater `sd` moves every member further out. Raises ValueError for
    hours beyond the draws.
    """
    unit = unit_error(drawn, hour=hour, local_hour=local_hour, place=0)
    if place:
        alone = unit_error(drawn, hour=hour, local_hour=local_hour, place=place)
        unit = together * unit + np.sqrt(1.0 - together**2) * alone
    return (unit * np.asarray(sd)).T


def unit_error(drawn: Draws, *, hour: NDArray[np.int64], local_hour: Array, place: int) -> Array:
    """Return the errors drawn for one place in units of the standard deviation, (n, H); arguments as in `error_c`.

    Low and high are hardly correlated, so halfway between them their mix would have only 0.74 of the spread. The mix is
    divided by its standard deviation, so that each hour has the full spread. Raises ValueError as `error_c` does.
    """
    if hour.min() < 0 or hour.max() >= HOURS:
        raise ValueError(f"The hours run from {hour.min()} to {hour.max()}, but draws hold 0 to {HOURS - 1}.")
    # The day of an hour runs from one usual low to the next, on the clock of the first hour.
    clock = local_hour[0] + hour - hour[0] - LOW_AT_H
    day = np.maximum(np.floor(clock / 24.0).astype(int) + 1, 0)
    after_noon = np.mod(clock, 24.0) >= HIGH_AT_H - LOW_AT_H
    share = high_share(local_hour)
    unit = drawn.lows[:, place, day + after_noon] * (1.0 - share) + drawn.highs[:, place, day] * share
    return unit * (drawn.tail[:, None] / _mixed_sd(share, after_noon))


def _mixed_sd(share: Array, after_noon: NDArray[np.bool_]) -> Array:
    """Return the standard deviation of a mix of unit low and high; after noon the low is that of the next day."""
    covariance = np.where(after_noon, SPELL_SHARE * SPELL_KEPT, SPELL_SHARE)
    return np.sqrt((1.0 - share) ** 2 + share**2 + 2.0 * share * (1.0 - share) * covariance)
