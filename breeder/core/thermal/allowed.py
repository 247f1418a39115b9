"""What a tolerance means on average: days on which a box may go, and boxes that broke of those that went.

Computed for this project on daily forecasts of the US National Weather Service and what airports then measured, 57 US
cities, 2014-2017: 505 boxes by a two-day service to a doorstep, in the best of the example kits, each lived through in
64 boxes as they may be. Broken: more than one hour outside comfort (temperate 7-29, tropical 13-29 degC), or ever past
a hard limit.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Measured:
    """One tolerance with the share of days that were Go and the share of those boxes that broke."""

    tolerance: float
    go: float
    broke: float


TEMPERATE = (
    Measured(0.01, 0.842, 0.001),
    Measured(0.05, 0.889, 0.008),
    Measured(0.10, 0.905, 0.016),
    Measured(0.20, 0.933, 0.032),
)
TROPICAL = (
    Measured(0.01, 0.632, 0.003),
    Measured(0.05, 0.723, 0.011),
    Measured(0.10, 0.762, 0.022),
    Measured(0.20, 0.798, 0.034),
)


def nearest(tolerance: float) -> Measured:
    """Return the measured tolerance of the temperate band that lies nearest to one."""
    return min(TEMPERATE, key=lambda one: abs(one.tolerance - tolerance))
