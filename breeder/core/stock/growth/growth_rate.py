"""The growth rate of a tub: its own counts averaged with the species' default, weighted by precision."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from breeder.core.counting.defaults import (
    COUNTS_TO_FIT,
    DAYS_PER_MONTH,
    DEFAULT_RATE_DOUBT,
    FULL_TUB_SHARE,
    KEEPER_DEFAULT,
    LEAST_RATE_SD,
    LUCK_VARIANCE,
    MONTHS_TO_FIT,
)
from breeder.core.counting.quantiles import months_between

from .stage_matrix import VitalRates, growth_rate, stage_matrix

Numbers = npt.NDArray[np.float64]
LEAST_LOG_SD = 0.02  # as for a full sort; keeps one exact count from deciding alone


@dataclass(frozen=True)
class GrowthCount:
    """One count: animals, its spread on the log scale, and the animals taken since the count before (net).

    `shared_sd` is the part of the spread that all counts with the same `way` share (one person, one method).
    """

    on: date
    estimate: float
    log_sd: float
    taken_since: float = 0.0
    shared_sd: float = 0.0
    way: str = ""

    @property
    def own_sd(self) -> float:
        """The rest of the spread, at least that of a full sort."""
        return math.sqrt(max(LEAST_LOG_SD**2, self.log_sd**2 - self.shared_sd**2))


@dataclass(frozen=True)
class Growth:
    """Log growth a month in an uncrowded tub, its standard deviation, and where the values come from."""

    rate: float
    sd: float
    counts: int
    mark: str


def default_growth(vital: VitalRates, mark: str = KEEPER_DEFAULT) -> Growth:
    """Return the growth that follows from a species' brood, survival and life: ln λ of its stage matrix.

    Its standard deviation is large, because it is a default.
    """
    return _in_doubt(math.log(growth_rate(stage_matrix(vital))), mark)


def life_table_growth(offspring: float, generation_days: float, mark: str) -> Growth:
    """Return ln(R0)/T as log growth a month, from the offspring that replace a female and the generation time.

    An approximation, about a tenth low for growing lines. Source: Lotka; any textbook of population ecology.
    """
    return _in_doubt(math.log(offspring) / generation_days * DAYS_PER_MONTH, mark)


def fitted_growth(counts: Sequence[GrowthCount], default: Growth | None, capacity: float = math.inf) -> Growth | None:
    """Return the growth from a tub's own counts, harvest added back, averaged with the species' `default`.

    The weights are 1/sd². Without a default the counts decide alone; with under three counts or two months the default
    decides alone; with neither the result is None. The sd of the slope includes the errors of the counts and the luck
    between them (`LUCK_VARIANCE` a month), and is widened when the counts scatter more than that. Crowding is removed
    by measuring along ln(N / (1 − N/K)), on which Beverton–Holt growth is a straight line. Source: generalized least
    squares and the normal prior, any textbook.
    """
    series = [seen for seen in sorted(counts, key=lambda seen: seen.on) if seen.estimate > 0]
    if len(series) < COUNTS_TO_FIT or months_between(series[0].on, series[-1].on) < MONTHS_TO_FIT:
        return default
    rate, sd = _slope(series, capacity)
    fitted = f"fitted to {len(series)} counts of this tub"
    if default is None:
        return Growth(rate, sd, len(series), fitted)
    weights = np.array([sd, default.sd]) ** -2.0
    both = float(np.average([rate, default.rate], weights=weights))
    mark = f"{fitted}, weighed with the usual growth ({default.mark})"
    return Growth(both, float(weights.sum() ** -0.5), len(series), mark)


def _in_doubt(rate: float, mark: str) -> Growth:
    return Growth(rate, max(LEAST_RATE_SD, DEFAULT_RATE_DOUBT * abs(rate)), 0, mark)


def _slope(series: Sequence[GrowthCount], capacity: float) -> tuple[float, float]:
    """Return log growth a month and its standard deviation, by least squares of the rises between counts.

    Two neighboring rises share the error of the count between them, with opposite signs, so the rises are weighted by
    their covariance. An error that two counts have in common cancels in the rise between them.
    """
    months = np.array([months_between(a.on, b.on) for a, b in zip(series, series[1:], strict=False)])
    before = np.array([seen.estimate for seen in series[:-1]])
    later = np.array([max(1.0, seen.estimate + seen.taken_since) for seen in series[1:]])
    rises = _along(later, capacity) - _along(before, capacity)
    counted = np.array([seen.estimate for seen in series[1:]]) / later
    errors = _errors(series)
    error_effects = _stretch(later, capacity) * counted * errors[1:].T - _stretch(before, capacity) * errors[:-1].T
    luck = LUCK_VARIANCE * months * _stretch(later, capacity) ** 2
    weights = np.linalg.inv(error_effects.T @ error_effects + np.diag(luck))
    across = float(months @ weights @ months)
    rate = float(months @ weights @ rises) / across
    left = rises - rate * months
    return rate, math.sqrt(max(1.0, float(left @ weights @ left) / (len(rises) - 1)) / across)


def _errors(series: Sequence[GrowthCount]) -> Numbers:
    """Return one row per count and one column per error: its own errors first, then those shared by a method."""
    ways = sorted({seen.way for seen in series})
    shared = [[seen.shared_sd if seen.way == way else 0.0 for way in ways] for seen in series]
    return np.hstack([np.diag([seen.own_sd for seen in series]), np.array(shared)])


def _along(animals: Numbers, capacity: float) -> Numbers:
    return np.asarray(np.log(animals) - np.log1p(-np.minimum(animals / capacity, FULL_TUB_SHARE)))


def _stretch(animals: Numbers, capacity: float) -> Numbers:
    """Return how many times longer a small log-scale step is along that line, as the tub fills up."""
    return np.asarray(1 / (1 - np.minimum(animals / capacity, FULL_TUB_SHARE)))
