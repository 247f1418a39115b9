"""The growth rate of a tub: from its own counts and what was taken, or else the species' default with its mark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.counting.defaults import (
    COUNTS_TO_FIT,
    DAYS_PER_MONTH,
    DEFAULT_RATE_DOUBT,
    FULL_TUB_SHARE,
    KEEPER_DEFAULT,
    MONTHS_TO_FIT,
)
from breeder.core.counting.quantiles import months_between

from .stage_matrix import Vital, growth_rate, stage_matrix


@dataclass(frozen=True)
class Seen:
    """One count: animals, its spread on the log scale, and what left the tub since the count before (net, animals)."""

    on: date
    estimate: float
    log_sd: float
    taken_since: float = 0.0


@dataclass(frozen=True)
class Growth:
    """Log growth a month in an uncrowded tub, its standard deviation, and where it comes from."""

    rate: float
    sd: float
    counts: int
    mark: str


def default_growth(vital: Vital, mark: str = KEEPER_DEFAULT) -> Growth:
    """Return the growth that a species' brood, survival and life give (ln λ of its stage matrix), much in doubt."""
    rate = math.log(growth_rate(stage_matrix(vital)))
    return Growth(rate, DEFAULT_RATE_DOUBT * abs(rate), 0, mark)


def life_table_growth(offspring: float, generation_days: float, mark: str) -> Growth:
    """Return ln(R0)/T as log growth a month, from the offspring that replace a female and the generation time.

    An approximation, about a tenth low for growing lines. Source: Lotka; any textbook of population ecology.
    """
    rate = math.log(offspring) / generation_days * DAYS_PER_MONTH
    return Growth(rate, DEFAULT_RATE_DOUBT * abs(rate), 0, mark)


def fitted_growth(counts: Sequence[Seen], otherwise: Growth, capacity: float = math.inf) -> Growth:
    """Return the growth fitted to a tub's own counts, what was taken added back, or `otherwise` when they are too few.

    Weighted least squares of cumulated log growth on time, weights 1/variance; crowding is taken out by measuring along
    ln(N / (1 − N/K)), on which Beverton–Holt growth is a straight line. The spread of the slope is never less than the
    counts' own errors make it. At least three counts over two months are needed.
    """
    series = [seen for seen in sorted(counts, key=lambda seen: seen.on) if seen.estimate > 0]
    if len(series) < COUNTS_TO_FIT or months_between(series[0].on, series[-1].on) < MONTHS_TO_FIT:
        return otherwise
    months = [months_between(series[0].on, seen.on) for seen in series]
    heights = [_along(series[0].estimate, capacity)]
    for before, seen in zip(series, series[1:], strict=False):
        risen = _along(max(1.0, seen.estimate + seen.taken_since), capacity) - _along(before.estimate, capacity)
        heights.append(heights[-1] + risen)
    weights = [1 / max(seen.log_sd, LEAST_LOG_SD) ** 2 for seen in series]
    rate, sd = _slope(months, heights, weights)
    return Growth(rate, sd, len(series), f"fitted to {len(series)} counts of this tub")


LEAST_LOG_SD = 0.02  # as a full sort; keeps one exact count from deciding alone


def _along(animals: float, capacity: float) -> float:
    crowded = 0.0 if math.isinf(capacity) else math.log(1 - min(animals / capacity, FULL_TUB_SHARE))
    return math.log(animals) - crowded


def _slope(x: Sequence[float], y: Sequence[float], weights: Sequence[float]) -> tuple[float, float]:
    whole = math.fsum(weights)
    mean_x = math.fsum(w * a for w, a in zip(weights, x, strict=True)) / whole
    mean_y = math.fsum(w * b for w, b in zip(weights, y, strict=True)) / whole
    across = math.fsum(w * (a - mean_x) ** 2 for w, a in zip(weights, x, strict=True))
    slope = math.fsum(w * (a - mean_x) * (b - mean_y) for w, a, b in zip(weights, x, y, strict=True)) / across
    apart = math.fsum(w * (b - mean_y - slope * (a - mean_x)) ** 2 for w, a, b in zip(weights, x, y, strict=True))
    return slope, math.sqrt(max(1.0, apart / (len(x) - 2)) / across)
