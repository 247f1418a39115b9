"""Dying out by bad luck alone, which sets a floor under any number of breeders."""

from __future__ import annotations

import math

import scipy

from .defaults import DAUGHTERS_PER_FEMALE, EXTINCTION_RISK
from .rounding import whole_above


def chance_line_of_one_ends(daughters: float) -> float:
    """Return the chance that the line of one female ends, with Poisson `daughters` that breed per female.

    The smaller root of q = e^(m(q − 1)), by Lambert's W; 1 when m is at most 1. Source: Galton & Watson 1875.
    """
    if daughters <= 1:
        return 1.0
    return float(-scipy.special.lambertw(-daughters * math.exp(-daughters)).real / daughters)


def chance_ended_by(daughters: float, generations: int) -> float:
    """Return the chance that the line of one female has ended within so many generations. Source: Fisher 1930."""
    ended = 0.0
    for _ in range(generations):
        ended = math.exp(daughters * (ended - 1))
    return ended


def demographic_floor(
    share_female: float = 0.5, daughters: float = DAUGHTERS_PER_FEMALE, risk: float = EXTINCTION_RISK
) -> int | None:
    """Return the adults whose females' lines all end with a chance of at most `risk`; None when none are enough.

    Assumes independent lines, so qⁿ ≤ risk for n females, divided by their share among adults. In all-female lines the
    share is 1.
    """
    ends = chance_line_of_one_ends(daughters)
    if ends >= 1 or share_female <= 0:
        return None
    females = max(1, whole_above(math.log(risk) / math.log(ends)))
    return whole_above(females / share_female)


def chance_ever_down_to(low: float, now: float, mean_growth: float, variance: float) -> float:
    """Return exp(−2μ·ln(N0/Nq)/σ²), the chance ever to fall from `now` to `low` animals while growing on average.

    `mean_growth` μ and `variance` σ² of the log growth in one time step. Source: Dennis et al. 1991, Ecol. Monogr.
    61:115 (from memory).
    """
    if mean_growth <= 0:
        return 1.0
    return min(1.0, math.exp(-2 * mean_growth * math.log(now / low) / variance))
