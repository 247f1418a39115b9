"""What a tolerance means on average: days on which a box may go, and boxes that broke of those that went.

Computed for this project on daily forecasts of the US National Weather Service and what airports then measured, 57 US
cities, 2014-2017: 254 boxes by a two-day service to a doorstep, in the best of the example kits, each lived through in
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
    Measured(0.01, 0.862, 0.0011),
    Measured(0.05, 0.921, 0.0033),
    Measured(0.10, 0.961, 0.0098),
    Measured(0.20, 0.976, 0.0139),
)
TROPICAL = (
    Measured(0.01, 0.610, 0.0019),
    Measured(0.05, 0.724, 0.0099),
    Measured(0.10, 0.780, 0.0142),
    Measured(0.20, 0.811, 0.0256),
)


def nearest(tolerance: float) -> Measured:
    """Return the measured tolerance of the temperate band that lies nearest to one."""
    return min(TEMPERATE, key=lambda one: abs(one.tolerance - tolerance))
