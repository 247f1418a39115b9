"""Bounds in common use that clustered animals and one eye make unsafe: the controls of this room's simulations."""

from scipy import stats


def poisson_lower(seen: float, confidence: float) -> float:
    """Return the exact one-sided lower bound of a Poisson mean. Source: Garwood 1936, Biometrika 28:437."""
    return float(stats.chi2.ppf(1 - confidence, 2 * seen) / 2) if seen else 0.0


def poisson_upper(seen: float, confidence: float) -> float:
    """Return the exact one-sided upper bound of a Poisson mean. Source: Garwood 1936, Biometrika 28:437."""
    return float(stats.chi2.ppf(confidence, 2 * seen + 2) / 2)
