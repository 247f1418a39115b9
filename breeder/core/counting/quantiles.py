"""Normal and t quantiles, whole animals, and months between days."""

from __future__ import annotations

import math
from datetime import date, datetime
from functools import lru_cache

import scipy

from .defaults import DAYS_PER_MONTH, STORED_CONFIDENCE

WHOLE_TOLERANCE = 1e-9  # relative; 119.99999999999999 animals are 120


@lru_cache(maxsize=256)
def normal_quantile(confidence: float) -> float:
    """Return the standard normal quantile for a one-sided `confidence` (a share)."""
    if confidence == STORED_CONFIDENCE:
        return STORED_Z
    return float(scipy.special.ndtri(confidence))


STORED_Z = 1.6448536269514722  # of STORED_CONFIDENCE, as scipy.special.ndtri gives it


def t_quantile(confidence: float, freedom: float) -> float:
    """Return Student's t quantile for a one-sided `confidence` and `freedom` degrees of freedom."""
    return float(scipy.special.stdtrit(freedom, confidence))


def whole_below(number: float) -> int:
    """Return the whole animals in `number`, allowing for rounding in binary fractions."""
    return math.floor(number + WHOLE_TOLERANCE * max(1.0, abs(number)))


def whole_above(number: float) -> int:
    """Return the fewest whole animals that cover `number`."""
    return -whole_below(-number)


def calendar_day(moment: date) -> date:
    """Return the calendar day of a date or a datetime."""
    return moment.date() if isinstance(moment, datetime) else moment


def months_between(earlier: date, later: date) -> float:
    """Return whole days between two days, in months of 30.4375 days; 0 when `later` is not later.

    It counts whole calendar days, so that what may be sold does not change between breakfast and supper.
    """
    return max(0, (calendar_day(later) - calendar_day(earlier)).days) / DAYS_PER_MONTH
