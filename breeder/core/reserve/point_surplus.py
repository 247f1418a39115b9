"""Surplus straight from an estimate and its standard error, without a stock book."""

from __future__ import annotations

import math
from dataclasses import dataclass

import scipy

from .rounding import whole_below

WIDEST_CV = 1e150  # whose square a double still holds; a bound so wide is no animal at all


@dataclass(frozen=True)
class Lot:
    """The one-sided lower bound of an estimate, not rounded, and the whole animals that may be sold of it."""

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
) -> Lot:
    """Return ⌊(lower − minimum) · (1 − loss)⌋ − promised, at least 0, with a log-scale bound.

    lower = N·exp(−q·√ln(1 + CV²)), q Student's t with portions − 1 degrees of freedom where portions are given, else
    normal. `confidence` one-sided. Source: simulated coverage of the log-t bound in tests/census.
    """
    if estimate <= 0:
        return Lot(0.0, 0)
    quantile = scipy.special.ndtri(confidence) if portions is None else scipy.special.stdtrit(portions - 1, confidence)
    cv = min(standard_error / estimate, WIDEST_CV)
    lower = estimate * math.exp(-float(quantile) * math.sqrt(math.log1p(cv**2)))
    return Lot(lower, max(0, whole_below((lower - breeding_minimum) * (1 - handling_loss)) - promised))
