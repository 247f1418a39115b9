"""Surplus directly from one estimate and its standard error, without a stock book."""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy

from .rounding import whole_below

WIDEST_CV = 1e150  # its square still fits a double; at this spread the bound is no animal at all


@dataclass(frozen=True)
class PointSurplus:
    """The unrounded one-sided lower bound of an estimate, and the whole animals that may be sold."""

    lower: float
    surplus: int


def surplus_of_estimate(
    estimate: float,
    standard_error: float,
    portions: int | None,
    breeding_minimum: int,
    promised: int,
    handling_loss: float,
    confidence: float,
) -> PointSurplus:
    """Return ⌊(lower − minimum) · (1 − loss)⌋ − promised, at least 0, with a log-scale bound.

    lower = N·exp(−q·√ln(1 + CV²)), where q is Student's t with portions − 1 degrees of freedom, or normal without
    portions. `confidence` is one-sided. Source: simulated coverage of the log-t bound in tests/core/counting.
    """
    if estimate <= 0:
        return PointSurplus(0.0, 0)
    quantile = scipy.special.ndtri(confidence) if portions is None else scipy.special.stdtrit(portions - 1, confidence)
    cv = min(standard_error / estimate, WIDEST_CV)
    lower = estimate * math.exp(-float(quantile) * math.sqrt(math.log1p(cv**2)))
    return PointSurplus(lower, max(0, whole_below((lower - breeding_minimum) * (1 - handling_loss)) - promised))
