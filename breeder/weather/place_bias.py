"""What forecasts of a place and what really came of them teach: a bias and a spread by lead, drawn to the defaults.

The low of a day and its high are learnt apart: forecasts are usually too warm by night and too cool by day.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import sqrt
from zoneinfo import ZoneInfo

import numpy as np

from breeder.core.thermal import forecast_error

# Leads within one of these bounds are learnt together, in hours.
BOUNDS_H = (24, 48, 72, 120, 192, 384)

# So many days' weight have the defaults: the usual bias, and the usual error of the lead and season. A trailing bias so
# drawn cut the error of a day's high by 6 to 8 % at one day (computed for this project, 57 US cities, 2014-17).
BIAS_WEIGHT_DAYS = 20
SD_WEIGHT_DAYS = 30
# Older pairs speak of another season (60 to 365 days taught about as much on the same cities).
LEARNT_FROM = timedelta(days=90)
# However right a source was, a box is not sent on less than this part of the usual error, nor on more (judgement).
LEAST_SHARE, MOST_SHARE = 0.6, 2.0
# An hour tells of the day's high, or low, where that makes up this much of it.
TELLS = 0.85


@dataclass(frozen=True)
class Pair:
    """What was forecast for an hour, and what that hour was."""

    issued_at: datetime
    valid_at: datetime
    forecast_c: float
    observed_c: float

    @property
    def lead(self) -> timedelta:
        return self.valid_at - self.issued_at

    @property
    def error_c(self) -> float:
        """Return what would have had to be added to the forecast."""
        return self.observed_c - self.forecast_c


@dataclass(frozen=True)
class DayError:
    """What would have had to be added to a day's low or high, and how wide that usually is, °C."""

    error_c: float
    usual_sd_c: float


@dataclass(frozen=True)
class Side:
    """What `days` days taught of the low or the high: `bias_c` is added; what is left is `share` of the usual error."""

    days: int
    bias_c: float
    share: float


@dataclass(frozen=True)
class Lesson:
    """What was learnt of the low and of the high."""

    low: Side
    high: Side

    @property
    def days(self) -> int:
        """Return from how many days."""
        return max(self.low.days, self.high.days)


def bound_of(lead_h: float) -> int | None:
    """Return the bound of the leads that a lead is learnt with; None before the issue or beyond all of them."""
    return next((bound for bound in BOUNDS_H if 0 <= lead_h < bound), None)


def side_of(errors: Sequence[DayError], usual_bias_c: float) -> Side:
    """Return what days teach of one side; without days it is the default."""
    days = len(errors)
    bias = (sum(day.error_c for day in errors) + BIAS_WEIGHT_DAYS * usual_bias_c) / (days + BIAS_WEIGHT_DAYS)
    # Around the bias that is used, so that a bias not yet trusted still counts as spread.
    left = sum(((day.error_c - bias) / day.usual_sd_c) ** 2 for day in errors)
    share = sqrt((left + SD_WEIGHT_DAYS) / (days + SD_WEIGHT_DAYS))
    return Side(days, bias, min(max(share, LEAST_SHARE), MOST_SHARE))


def lesson(pairs: Sequence[Pair], zone: ZoneInfo, latitude: float, usual: tuple[float, float] = (0.0, 0.0)) -> Lesson:
    """Return what pairs of one source, place and range of leads teach; without pairs it is the defaults.

    `usual`: the bias at low and high where nothing is known. Hours of one day err together, so a day counts once.
    """
    lows: dict[date, list[DayError]] = {}
    highs: dict[date, list[DayError]] = {}
    for pair in pairs:
        at = pair.valid_at.astimezone(zone)
        share = float(forecast_error.high_share(at.hour))
        into = highs if share >= TELLS else lows if share <= 1 - TELLS else None
        if into is not None:
            sd = forecast_error.high_sd_c if share >= TELLS else forecast_error.low_sd_c
            usual_sd = float(sd(pair.lead / timedelta(days=1), forecast_error.season_of(at.month, latitude)))
            into.setdefault(at.date(), []).append(DayError(pair.error_c, usual_sd))
    return Lesson(side_of(_means(lows), usual[0]), side_of(_means(highs), usual[1]))


def _means(by_day: Mapping[date, Sequence[DayError]]) -> list[DayError]:
    return [
        DayError(float(np.mean([one.error_c for one in day])), float(np.mean([one.usual_sd_c for one in day])))
        for day in by_day.values()
    ]


def by_bound(pairs: Iterable[Pair]) -> dict[int, list[Pair]]:
    """Return the pairs sorted into ranges of leads; those made after the fact teach nothing and are left out."""
    found: dict[int, list[Pair]] = {}
    for pair in pairs:
        bound = bound_of(pair.lead / timedelta(hours=1))
        if bound is not None:
            found.setdefault(bound, []).append(pair)
    return found
