"""Mark and recapture: Chapman's estimate with the exact lower bound."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import scipy

from ..defaults import CONFIDENCE, FEW_RECAPTURES
from ..errors import MOST_ANIMALS, CountChecks
from ..quantiles import normal_quantile
from .count import Count, CountOptions, MethodEstimate, as_count

MOLTING = (
    "Marks are lost when animals molt, which makes the estimate too high. Catch again within a few days, and never "
    "sell close to this number."
)

TAIL_SDS = 12  # standard deviations; a tail beyond them is too small for a double


def marked(
    marked: int, caught: int, marked_caught: int, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return Chapman's estimate from the animals marked, the animals caught later, and the marked ones among those.

    Assumes a closed tub, equal chances of being caught, and no lost marks (isopods molt, so the count has a warning).
    The interval is normal, the lower bound exact hypergeometric; neither is below the number of different animals seen.
    Raises BadCount. Sources: Chapman 1951; variance Seber 1982, p. 60.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("marked", marked, least=1, remedy="Mark some animals first.")
    checks.animals("caught", caught, least=1, remedy="Catch some animals again first.")
    checks.animals("marked_caught", marked_caught, least=0)
    if max(marked, caught) <= MOST_ANIMALS >= marked_caught > min(marked, caught) >= 0:
        checks.fault(
            "marked_caught",
            f"{marked_caught} marked animals were caught again, more than the {marked} marked or the {caught} caught. "
            "Check the three numbers.",
        )
    checks.done()
    estimate = (marked + 1) * (caught + 1) / (marked_caught + 1) - 1
    error = math.sqrt(
        (marked + 1) * (caught + 1) * (marked - marked_caught) * (caught - marked_caught)
        / ((marked_caught + 1) ** 2 * (marked_caught + 2))
    )  # fmt: skip
    seen = marked + caught - marked_caught
    result = MethodEstimate(
        estimate,
        error,
        lambda level: float(exact_lower(marked, caught, marked_caught, level)),
        lambda level: estimate + normal_quantile(level) * error,
        floor=float(seen),
    )
    steps = (
        f"({marked} + 1) × ({caught} + 1) / ({marked_caught} + 1) − 1 = {estimate:.1f}; standard error {error:.1f}.",
        f"{seen} different animals were seen, so there are at least that many.",
    )
    asked = CountOptions(confidence, shared_sd)
    count = as_count("marked", result, asked, _notes(marked_caught), steps)
    return _normal_interval(count, result)


def exact_lower(marked: int, caught: int, marked_caught: int, confidence: float) -> int:
    """Return the smallest whole N with P(at most `marked_caught` marked in the catch | N) > 1 − confidence.

    The chance rises with N, so the search first doubles and then bisects. Source: hypergeometric tail, Seber 1982,
    ch. 3.
    """
    low = marked + caught - marked_caught
    alpha = 1 - confidence
    step = 1
    high = low
    while chance_of_at_most(marked_caught, high, marked, caught) <= alpha:
        low, high, step = high + 1, high + step, 2 * step
    while low < high:
        half = (low + high) // 2
        if chance_of_at_most(marked_caught, half, marked, caught) > alpha:
            high = half
        else:
            low = half + 1
    return low


def chance_of_at_most(few: int, held: int, marked: int, caught: int) -> float:
    """Return the chance of at most `few` marked among `caught` drawn from `held` animals, `marked` of them marked."""
    least = max(0, caught - (held - marked))
    if few < least:
        return 0.0
    mean = marked * caught / held
    if few > mean + TAIL_SDS * math.sqrt(mean + 1):
        return 1.0
    least = max(least, few - math.ceil(4 * TAIL_SDS * math.sqrt(few + 1)))  # the terms below are negligible
    x = np.arange(least, few + 1, dtype=float)
    log_chance = _log_choose(marked, x) + _log_choose(held - marked, caught - x) - _log_choose(held, float(caught))
    return float(min(1.0, np.exp(scipy.special.logsumexp(log_chance))))


def _log_choose(n: int, k: np.ndarray | float) -> np.ndarray:
    chosen = (
        scipy.special.gammaln(n + 1.0)
        - scipy.special.gammaln(np.add(k, 1.0))
        - scipy.special.gammaln(n - np.asarray(k) + 1.0)
    )
    return np.asarray(chosen)


def _normal_interval(count: Count, result: MethodEstimate) -> Count:
    """Give the count the normal interval of its standard error, widened by the shared error."""
    z = normal_quantile((1 + count.confidence) / 2)
    reach = z * math.hypot(result.standard_error or 0.0, result.estimate * count.shared_sd)
    return replace(count, interval=(max(result.floor, result.estimate - reach), result.estimate + reach))


def _notes(marked_caught: int) -> tuple[str, ...]:
    if marked_caught >= FEW_RECAPTURES:
        return (MOLTING,)
    few = f"Only {marked_caught} marked animals came back; under {FEW_RECAPTURES} the estimate is usually too low."
    return (MOLTING, few)
