"""Common bounds that are unsafe for clustered animals or one eye: the controls of the simulations here."""

import math
from collections.abc import Sequence

from scipy import stats


def poisson_lower(seen: float, confidence: float) -> float:
    """Return the exact one-sided lower bound of a Poisson mean. Source: Garwood 1936, Biometrika 28:437."""
    return float(stats.chi2.ppf(1 - confidence, 2 * seen) / 2) if seen else 0.0


def poisson_upper(seen: float, confidence: float) -> float:
    """Return the exact one-sided upper bound of a Poisson mean. Source: Garwood 1936, Biometrika 28:437."""
    return float(stats.chi2.ppf(confidence, 2 * seen + 2) / 2)


def gamma_poisson(
    prior: tuple[float, float], counts: Sequence[tuple[int, float]], step: Sequence[float]
) -> tuple[float, float, float]:
    """Return mean, standard deviation and 5 % quantile of a gamma belief after Poisson counts, exactly.

    `prior` is its mean and relative error. Each count is (animals seen, share of the tub). `step` is the growth and the
    forgetting between two counts. Source: conjugate prior, any textbook.
    """
    mean, cv = prior
    shape, rate = 1 / cv**2, 1 / (cv**2 * mean)
    for place, (seen, share) in enumerate(counts):
        if place:
            growth, forgetting = step
            shape, rate = forgetting * shape, forgetting * rate / growth
        shape, rate = shape + seen, rate + share
    return shape / rate, math.sqrt(shape) / rate, float(stats.gamma.ppf(0.05, shape, scale=1 / rate))
