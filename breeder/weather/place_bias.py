"""Learn the bias and spread of forecasts at a place by lead, shrunk toward the defaults.

Lows and highs are learned apart: forecasts are usually too warm by night and too cool by day.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import sqrt
from zoneinfo import ZoneInfo

import numpy as np

from breeder.core.thermal import forecast_error

# Leads below the same bound are learned together, in hours.
BOUNDS_H = (24, 48, 72, 120, 192, 384)

# The defaults (the usual bias, and the usual error of the lead and season) weigh as much as this many days. A trailing
# bias shrunk this way cut the error of a day's high by 6 to 8 % at one day (computed for this project, 57 US cities,
# 2014-17).
BIAS_WEIGHT_DAYS = 20
SD_WEIGHT_DAYS = 30
# Older pairs are from another season (60 to 365 days taught about as much on the same cities).
LEARNT_FROM = timedelta(days=90)
# The spread used for a box stays between these shares of the usual error, however good a source was (judgment).
LEAST_SHARE, MOST_SHARE = 0.6, 2.0
# An hour counts for the day's high or low if that has at least this weight in it.
LEAST_WEIGHT = 0.85


@dataclass(frozen=True)
class HourPair:
    """The forecast and the measured temperature of an hour."""

    issued_at: datetime
    valid_at: datetime
    forecast_c: float
    observed_c: float

    @property
    def lead(self) -> timedelta:
        return self.valid_at - self.issued_at

    @property
    def error_c(self) -> float:
        """Return what would correct the forecast, °C."""
        return self.observed_c - self.forecast_c


@dataclass(frozen=True)
class DayError:
    """The correction that a day's low or high needed, and its usual spread, °C."""

    error_c: float
    usual_sd_c: float


@dataclass(frozen=True)
class BiasSide:
    """What `days` days taught about the low or the high: add `bias_c`; `share` of the usual error remains."""

    days: int
    bias_c: float
    share: float


@dataclass(frozen=True)
class Lesson:
    """What was learned about the low and the high."""

    low: BiasSide
    high: BiasSide

    @property
    def days(self) -> int:
        """Return the number of days behind the lesson."""
        return max(self.low.days, self.high.days)


def lead_bound_h(lead_h: float) -> int | None:
    """Return the bound of a lead, in hours; None for a negative lead or one beyond all bounds."""
    return next((bound for bound in BOUNDS_H if 0 <= lead_h < bound), None)


def learn_side(errors: Sequence[DayError], usual_bias_c: float) -> BiasSide:
    """Return what days teach about the low or the high; without days, the default."""
    days = len(errors)
    bias = (sum(day.error_c for day in errors) + BIAS_WEIGHT_DAYS * usual_bias_c) / (days + BIAS_WEIGHT_DAYS)
    # Around the bias in use, so that a bias not yet trusted still counts as spread.
    left = sum(((day.error_c - bias) / day.usual_sd_c) ** 2 for day in errors)
    share = sqrt((left + SD_WEIGHT_DAYS) / (days + SD_WEIGHT_DAYS))
    return BiasSide(days, bias, min(max(share, LEAST_SHARE), MOST_SHARE))


def learn_lesson(
    pairs: Sequence[HourPair], zone: ZoneInfo, latitude: float, usual: tuple[float, float] = (0.0, 0.0)
) -> Lesson:
    """Return what pairs of one source, place and range of leads teach; without pairs, the defaults.

    `usual` is the default bias at low and high, °C. Hours of one day err together, so each day counts once.
    """
    lows: dict[date, list[DayError]] = {}
    highs: dict[date, list[DayError]] = {}
    for pair in pairs:
        at = pair.valid_at.astimezone(zone)
        share = float(forecast_error.high_share(at.hour))
        into = highs if share >= LEAST_WEIGHT else lows if share <= 1 - LEAST_WEIGHT else None
        if into is not None:
            sd = forecast_error.high_sd_c if share >= LEAST_WEIGHT else forecast_error.low_sd_c
            usual_sd = float(sd(pair.lead / timedelta(days=1), forecast_error.season_name(at.month, latitude)))
            into.setdefault(at.date(), []).append(DayError(pair.error_c, usual_sd))
    return Lesson(learn_side(_means(lows), usual[0]), learn_side(_means(highs), usual[1]))


def _means(by_day: Mapping[date, Sequence[DayError]]) -> list[DayError]:
    return [
        DayError(float(np.mean([error.error_c for error in day])), float(np.mean([error.usual_sd_c for error in day])))
        for day in by_day.values()
    ]


def by_bound(pairs: Iterable[HourPair]) -> dict[int, list[HourPair]]:
    """Return the pairs by lead bound, in hours; leaves out forecasts made after the fact."""
    pairs_by_bound: dict[int, list[HourPair]] = {}
    for pair in pairs:
        bound = lead_bound_h(pair.lead / timedelta(hours=1))
        if bound is not None:
            pairs_by_bound.setdefault(bound, []).append(pair)
    return pairs_by_bound
