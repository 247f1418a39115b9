"""How much work a count takes: removal passes, portions of a clustered tub, and how clustered the tub is."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import scipy

from .methods.removal import standard_error_form_one

LEAST_K, MOST_K = 1e-4, 1e4  # of the negative binomial: from one heap to an even spread


def removal_relative_error(held: float, share_caught: float, passes: int) -> float:
    """Return the relative standard error of a removal whose passes each catch the same share.

    Source: Bohlin et al. 1989.
    """
    return standard_error_form_one(held, share_caught, passes) / held


def passes_needed(held: float, share_caught: float, cv: float) -> int:
    """Return the fewest passes (at least 2) that bring a removal's relative error down to `cv`."""
    passes = 2
    while removal_relative_error(held, share_caught, passes) > cv:
        passes += 1
    return passes


def portions_needed(mean: float, k: float, cv: float) -> int:
    """Return (1/μ + 1/k)/D² portions for a relative error D, animals per portion μ, clumping k (negative binomial).

    Source: Karandinos 1976; Elliott 1977 (from memory).
    """
    return math.ceil((1 / mean + 1 / k) / cv**2 - 1e-9)


def clumping_by_moments(mean: float, variance: float) -> float:
    """Return k = μ²/(s² − μ) of the negative binomial; infinite when the animals are spread evenly or more."""
    return mean**2 / (variance - mean) if variance > mean else math.inf


def clumping_by_zeros(mean: float, empty_share: float) -> float | None:
    """Return the k at which k·log(1 + μ/k) = log(N/N0), from the share of empty portions; None when none fits.

    Source: Ludwig & Reynolds 1988, Statistical Ecology.
    """
    wanted = -math.log(empty_share)

    def gap(k: float) -> float:
        return k * math.log1p(mean / k) - wanted

    if gap(LEAST_K) * gap(MOST_K) > 0:
        return None
    from scipy import optimize  # imported here: it takes a third of a second, and only a plan needs it

    return float(optimize.brentq(gap, LEAST_K, MOST_K))


def clumping_by_likelihood(frequency: Sequence[int]) -> float:
    """Return the maximum-likelihood k, given how many portions held 0, 1, 2, … animals. Source: Bliss & Fisher 1953."""
    counts, times = np.arange(len(frequency)), np.asarray(frequency, dtype=float)
    n = times.sum()
    mean = float(times @ counts) / n

    def loss(log_k: float) -> float:
        k = math.exp(log_k)
        each = scipy.special.gammaln(counts + k) - scipy.special.gammaln(k) + counts * np.log(mean / (mean + k))
        return -float(times @ each + n * k * math.log(k / (mean + k)))

    from scipy import optimize  # as above

    fit = optimize.minimize_scalar(loss, bounds=(math.log(LEAST_K), math.log(MOST_K)), method="bounded")
    return math.exp(float(fit.x))
