"""Extinction by bad luck alone, which sets a floor under any number of breeders."""

from __future__ import annotations

import math

import numpy as np
import scipy

from .defaults import DAUGHTERS_PER_FEMALE, EXTINCTION_RISK, FLOOR_BY_SHARE_FEMALE
from .rounding import whole_above


def chance_line_of_one_ends(daughters: float) -> float:
    """Return the chance that the line of one female ever ends, with a Poisson number of breeding `daughters` each.

    The smaller root of q = e^(m(q − 1)), by Lambert's W; 1 when m is at most 1. Source: Galton & Watson 1875.
    """
    if daughters <= 1:
        return 1.0
    return float(-scipy.special.lambertw(-daughters * math.exp(-daughters)).real / daughters)


def chance_ended_by(daughters: float, generations: int) -> float:
    """Return the chance that the line of one female ends within `generations`. Source: Fisher 1930."""
    ended = 0.0
    for _ in range(generations):
        ended = math.exp(daughters * (ended - 1))
    return ended


def demographic_floor(share_female: float = 0.5) -> int | None:
    """Return the adults of unknown sex below which a line of two sexes dies out by luck too often.

    Too often is more than about 1 in 20. Interpolates linearly in a simulated table by share of females; beyond its
    ends the number of the rarer sex is kept. None when one sex is missing, because then no number is enough. Source:
    own simulation (its model is described at the table in defaults; tests/core/reserve repeats it).
    """
    if not 0 < share_female < 1:
        return None
    shares, floors = zip(*FLOOR_BY_SHARE_FEMALE, strict=True)
    if share_female < shares[0]:
        return whole_above(floors[0] * shares[0] / share_female)
    if share_female > shares[-1]:
        return whole_above(floors[-1] * (1 - shares[-1]) / (1 - share_female))
    return whole_above(float(np.interp(share_female, shares, floors)))


def floor_without_sexes(daughters: float = DAUGHTERS_PER_FEMALE, risk: float = EXTINCTION_RISK) -> int | None:
    """Return the adults whose lines all end with a chance of at most `risk` when each adult breeds by itself.

    Assumes independent lines, so qⁿ ≤ risk for n adults; None when no number is enough.
    """
    ends = chance_line_of_one_ends(daughters)
    return None if ends >= 1 else max(1, whole_above(math.log(risk) / math.log(ends)))


def chance_ever_down_to(low: float, now: float, mean_growth: float, variance: float) -> float:
    """Return exp(−2μ·ln(N0/Nq)/σ²), the chance of ever falling from `now` to `low` animals while growing on average.

    `mean_growth` μ and `variance` σ² of the log growth in one time step. Source: Dennis et al. 1991, Ecol. Monogr.
    61:115 (from memory).
    """
    if mean_growth <= 0:
        return 1.0
    return min(1.0, math.exp(-2 * mean_growth * math.log(now / low) / variance))
