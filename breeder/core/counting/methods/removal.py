"""Removal in passes: Carle and Strub's estimate with a likelihood bound."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext

import numpy as np
import scipy

from ..defaults import CONFIDENCE
from ..errors import CountChecks
from ..quantiles import normal_quantile
from .closed_forms import first_pass_chi_square
from .count import Count, CountOptions, MethodEstimate, as_count

CHI_SQUARE_95 = 3.841  # 95 % quantile of χ² with one degree of freedom
FEWEST_TO_COMPARE = 3  # passes; with two there is nothing to compare the first pass with
DIGITS = 100
MOST_TRIED = 10**15  # animals; no tub holds so many, so the search stops here


@dataclass(frozen=True)
class Passes:
    """Catches of equal effort: `total` T, `passes` k, and X = Σ(k − i)·c_i of Carle and Strub."""

    catches: tuple[int, ...]

    @property
    def passes(self) -> int:
        return len(self.catches)

    @property
    def total(self) -> int:
        return sum(self.catches)

    @property
    def x(self) -> int:
        k = self.passes
        return sum((k - place) * caught for place, caught in enumerate(self.catches, start=1))

    def share_caught(self, held: float) -> float:
        """Return the share that one pass catches of what is left, if the tub held `held`."""
        return self.total / (self.passes * held - self.x)


def removal(catches: Sequence[int], *, confidence: float = CONFIDENCE, shared_sd: float = 0.0) -> Count:
    """Return Carle and Strub's estimate from passes of equal effort, with the animals kept out between passes.

    Assumes a closed tub and the same chance of being caught in every pass. Animals that never show themselves make it
    too low, which is the safe side. The standard error is form 1, the interval normal, the lower bound from the profile
    likelihood (−2Δℓ ≤ z²); neither is below the catch. Raises BadCount. Source: Carle & Strub 1978, Biometrics 34:621.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    if len(catches) < 2:
        checks.fault(
            "catches", f"There is {len(catches)} pass, but the fall from pass to pass is needed. Make at least 2."
        )
    for place, caught in enumerate(catches):
        checks.animals(f"catches[{place}]", caught, least=0)
    checks.done()
    asked = CountOptions(confidence, shared_sd)
    passes = Passes(tuple(int(caught) for caught in catches))
    if not passes.total:
        notes = ("Nothing was caught, which does not prove an empty tub.",)
        return as_count("removal", MethodEstimate(0.0, None, None, None), asked, notes)
    held = carle_strub(passes)
    share = passes.share_caught(held)
    error = standard_error(passes, held)
    result = MethodEstimate(
        float(held),
        error,
        lambda level: float(min(held, likelihood_lower(passes, level))),
        lambda level: held + normal_quantile(level) * error,
        floor=float(passes.total),
    )
    steps = (
        f"{passes.total} caught in {passes.passes} passes ({', '.join(map(str, passes.catches))}).",
        f"Carle and Strub: {held} animals, each pass catching {share:.1%} of those left; standard error {error:.1f}.",
    )
    return _normal_interval(as_count("removal", result, asked, _notes(passes), steps), result)


def carle_strub(passes: Passes) -> int:
    """Return the smallest whole N ≥ T with (N+1)/(N−T+1)·∏(kN−X−T+1+k−i)/(kN−X+2+k−i) ≤ 1 (uniform prior)."""
    k, total, x = passes.passes, passes.total, passes.x
    later = np.arange(k - 1, -1, -1, dtype=float)

    def enough(held: int) -> bool:
        left = np.log(k * held - x - total + 1 + later) - np.log(k * held - x + 2 + later)
        return math.log((held + 1) / (held - total + 1)) + float(left.sum()) <= 0

    return _first(enough, total)


def standard_error(passes: Passes, held: float) -> float:
    """Return form 1 of the standard error, √{N qᵏ(1−qᵏ)/[(1−qᵏ)² − (pk)² qᵏ⁻¹]} (Carle & Strub 1978; Seber 1982)."""
    return standard_error_form_one(held, passes.share_caught(held), passes.passes)


def standard_error_form_one(held: float, p: float, k: int) -> float:
    """Return form 1 of the standard error for `held` animals, of which each of `k` passes catches a share `p`.

    The denominator is a difference of order p⁴ between two nearly equal numbers, so a small share needs more digits
    than a float has.
    """
    with localcontext(prec=DIGITS):
        caught = Decimal(p)
        q = 1 - caught
        below = (1 - q**k) ** 2 - (caught * k) ** 2 * q ** (k - 1)
        return float((Decimal(held) * q**k * (1 - q**k) / below).sqrt())


def standard_error_form_two(passes: Passes, held: float) -> float:
    """Return the other published form, √{N(N−T)T/[T² − N(N−T)(kp)²/(1−p)]}, for comparison (Cowx 1983)."""
    p, k, total = passes.share_caught(held), passes.passes, passes.total
    left = held * (held - total)
    return math.sqrt(left * total / (total**2 - left * (k * p) ** 2 / (1 - p)))


def log_likelihood(passes: Passes, held: float) -> float:
    """Return the profile log-likelihood of `held` animals at the most likely catching chance, without constants."""
    k, total, x = passes.passes, passes.total, passes.x
    if math.isinf(held):  # the limit: every pass catches the same on average
        return total * math.log(total / k) - total
    tried = k * held - x
    missed = tried - total
    return float(
        scipy.special.gammaln(held + 1)
        - scipy.special.gammaln(held - total + 1)
        + total * math.log(total / tried)
        + scipy.special.xlog1py(missed, -total / tried)
    )


def likelihood_lower(passes: Passes, confidence: float) -> int:
    """Return the smallest whole N whose profile log-likelihood is within z²/2 of the best; at least the catch.

    Source: likelihood-ratio bound, Venzon & Moolgavkar 1988, Appl. Stat. 37:87.
    """
    rising: Callable[[int], bool] = lambda held: log_likelihood(passes, held + 1) <= log_likelihood(passes, held)  # noqa: E731
    if passes.x > passes.total * (passes.passes - 1) / 2:
        best = log_likelihood(passes, _first(rising, passes.total))
    else:
        best = log_likelihood(passes, math.inf)
    least = best - normal_quantile(confidence) ** 2 / 2
    return _first(lambda held: log_likelihood(passes, held) >= least, passes.total)


def _first(true_from: Callable[[int], bool], start: int) -> int:
    """Return the first whole number from `start` on at which a condition becomes true and then stays true."""
    low, high, step = start, start, 1
    while not true_from(high) and high < MOST_TRIED:
        low, high, step = high + 1, high + step, 2 * step
    while low < high:
        half = (low + high) // 2
        if true_from(half):
            high = half
        else:
            low = half + 1
    return low


def _normal_interval(count: Count, result: MethodEstimate) -> Count:
    z = normal_quantile((1 + count.confidence) / 2)
    reach = z * math.hypot(result.standard_error or 0.0, result.estimate * count.shared_sd)
    return replace(count, interval=(max(result.floor, result.estimate - reach), result.estimate + reach))


def _notes(passes: Passes) -> tuple[str, ...]:
    if passes.x > passes.total * (passes.passes - 1) / 2:
        if passes.passes >= FEWEST_TO_COMPARE and first_pass_chi_square(passes.catches) > CHI_SQUARE_95:
            return (
                "The first pass caught another share than the rest, so shy animals are missed and this is too low.",
            )
        return ()
    return ("The catches did not fall from pass to pass, so the estimate is weak. Make another pass.",)
