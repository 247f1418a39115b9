"""Textbook formulas for two and three passes, unequal effort and repeated marking, as second opinions."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy


@dataclass(frozen=True)
class RemovalEstimate:
    """Animals there before the first pass, the share that one pass catches, and the standard error if there is one."""

    number: float
    share_caught: float
    standard_error: float | None = None


def two_passes(first: int, second: int) -> RemovalEstimate | None:
    """Return c1²/(c1 − c2) with p = 1 − c2/c1 and SE = c1·c2·√(c1 + c2)/(c1 − c2)²; None when catches did not fall.

    Source: Seber & Le Cren 1967; Seber 1982, ch. 7.
    """
    fall = first - second
    if fall <= 0:
        return None
    return RemovalEstimate(first**2 / fall, fall / first, first * second * math.sqrt(first + second) / fall**2)


def two_passes_less_biased(first: int, second: int) -> float | None:
    """Return (c1² − c2)/(c1 − c2); None when catches did not fall. Source: Robson & Regier 1968."""
    return (first**2 - second) / (first - second) if first > second else None


def three_passes(first: int, second: int, third: int) -> float | None:
    """Return Seber's closed form for three passes; None when catches did not fall. Source: Seber 1982, eq. 7.24."""
    x, y = 2 * first + second, first + second + third
    if x <= y:
        return None
    return (6 * x**2 - 3 * x * y - y**2 + y * math.sqrt(y**2 + 6 * x * y - 3 * x**2)) / (18 * (x - y))


def first_pass_chi_square(catches: Sequence[int]) -> float:
    """Return the likelihood-ratio χ² (1 degree of freedom) for a first pass that catches another share than the rest.

    Over 3.84 shy animals are missed and the estimate is too low. Source: Schnute 1983, Can. J. Fish. Aquat. Sci.
    40:2153.
    """
    total, before = sum(catches), np.concatenate(([0], np.cumsum(catches)[:-1]))

    def all_passes_alike(held: float) -> float:
        return _known(held, total) + _binomial(total, float(np.sum(held - before)))

    def first_pass_apart(held: float) -> float:
        later = float(np.sum(held - before[1:]))
        return _known(held, total) + _binomial(catches[0], held) + _binomial(total - catches[0], later)

    return max(0.0, 2 * (_highest(first_pass_apart, total) - _highest(all_passes_alike, total)))


def leslie_regression(catches: Sequence[int], effort: Sequence[float]) -> RemovalEstimate | None:
    """Return Leslie's regression of catch per effort on the catch so far, half of the current catch included.

    `share_caught` is the catchability of one unit of effort. None when catches did not fall. Source: Leslie & Davis
    1939; Ricker 1975, ch. 6.
    """
    rate = np.asarray(catches) / np.asarray(effort)
    before = np.cumsum(catches) - np.asarray(catches) / 2
    slope, start = np.polyfit(before, rate, 1)
    return RemovalEstimate(float(-start / slope), float(-slope)) if slope < 0 else None


def delury_regression(catches: Sequence[int], effort: Sequence[float]) -> RemovalEstimate | None:
    """Return DeLury's regression of the log catch per effort on the effort so far, half of the current one included.

    Source: DeLury 1947, Biometrics 3:145; Ricker 1975, ch. 6.
    """
    log_rate = np.log(np.asarray(catches) / np.asarray(effort))
    spent = np.cumsum(effort) - np.asarray(effort) / 2
    slope, start = np.polyfit(spent, log_rate, 1)
    return RemovalEstimate(float(math.exp(start) / -slope), float(-slope)) if slope < 0 else None


@dataclass(frozen=True)
class RepeatedMarking:
    """Marking over several rounds: Schnabel's estimate, Chapman's form of it, and Schumacher and Eschmeyer's."""

    schnabel: float
    chapman: float
    schumacher: float


def marked_repeatedly(caught: Sequence[int], again: Sequence[int], at_large: Sequence[int]) -> RepeatedMarking | None:
    """Return the estimates from rounds of catching: `caught`, marked animals `again` among them, marks `at_large`.

    `at_large` is before each round. None when no marked animal came back. Source: Schnabel 1938; Schumacher & Eschmeyer
    1943; Krebs 1999, ch. 2.
    """
    c, r, m = (np.asarray(values, dtype=float) for values in (caught, again, at_large))
    met, seen = float(c @ m), float(r.sum())
    if not seen:
        return None
    return RepeatedMarking(met / seen, met / (seen + 1), float(c @ m**2) / float(r @ m))


def _known(held: float, total: int) -> float:
    return float(scipy.special.gammaln(held + 1) - scipy.special.gammaln(held - total + 1))


def _binomial(caught: float, tried: float) -> float:
    """Return the log-likelihood of `caught` in `tried` tries at the most likely chance; 0 without tries."""
    if tried <= 0:
        return 0.0
    return float(scipy.special.xlogy(caught, caught / tried) + scipy.special.xlog1py(tried - caught, -caught / tried))


def _highest(log_likelihood: Callable[[float], float], total: int) -> float:
    """Return the maximum over the number there, from the catch to a thousand times as many."""
    from scipy import optimize  # imported here: it takes a third of a second, and only this fit needs it

    fit = optimize.minimize_scalar(
        lambda log_extra: -log_likelihood(total + math.expm1(log_extra)),
        bounds=(0.0, math.log1p(1000 * total)),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return max(-float(fit.fun), log_likelihood(float(total)))
