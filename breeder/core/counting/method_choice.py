"""Which counting method is worth its time for a tub, and how many portions halve the doubt about it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from .defaults import (
    CLUMPING_K,
    EYE_CLASS_WIDTH_SDS,
    EYE_CLASSES,
    EYE_MINUTES,
    PORTION_MINUTES,
    PORTION_SHARE,
    PORTIONS_ASKED,
    SHARED_SD,
    SORT_MINUTES,
    SORTED_A_MINUTE,
    STORED_CONFIDENCE,
    WORTH_SHARE,
)
from .quantiles import STORED_Z, t_quantile


@dataclass(frozen=True)
class MethodOption:
    """A way to count one tub: its minutes, the log-scale spread it leaves, and the number to rely on afterwards.

    `portions` is the number of portions, for a count in portions.
    """

    method: str
    minutes: float
    log_sd: float
    relied: float
    portions: int = 0


def portions_spread(likely: float, portions: int, share_each: float, shared_sd: float) -> float:
    """Return the log-scale spread that a count in `portions` leaves; each is the share `share_each` of the tub.

    Assumes animals clustered as a negative binomial with k = 2. Uses the t quantile for few portions and the finite
    population correction. Source: Cochran 1977, ch. 6; Elliott 1977 (from memory).
    """
    left = max(0.0, 1 - portions * share_each)
    cv = math.sqrt(left * (1 / (likely * share_each) + 1 / CLUMPING_K) / portions)
    sampling_sd = t_quantile(STORED_CONFIDENCE, portions - 1) / STORED_Z * math.sqrt(math.log1p(cv**2))
    return math.hypot(sampling_sd, shared_sd)


def method_options(likely: float, shared: Mapping[str, float] = SHARED_SD) -> list[MethodOption]:
    """Return the ways to count a tub that holds about `likely` animals, the quickest first.

    `shared` gives the shared error of each method, for a keeper whose own errors are known.
    """
    size = next((size for size in EYE_CLASSES if likely < size.high), EYE_CLASSES[-1])
    eye = math.hypot(math.log(size.high / size.low) / EYE_CLASS_WIDTH_SDS, shared["eye"])
    portions = portions_spread(likely, PORTIONS_ASKED, PORTION_SHARE, shared["portions"])
    options = [
        _option("eye", EYE_MINUTES, eye, likely),
        _option("portions", PORTION_MINUTES * PORTIONS_ASKED, portions, likely, PORTIONS_ASKED),
        _option("full_sort", SORT_MINUTES + likely / SORTED_A_MINUTE, shared["full_sort"], likely),
    ]
    return sorted(options, key=lambda way: way.minutes)


def worthwhile_method(
    likely: float, lower: float, *, danger: bool = False, shared: Mapping[str, float] = SHARED_SD
) -> MethodOption | None:
    """Return the quickest way that wins back half of what doubt hides in a tub; in danger, the most precise way.

    `lower` is the number relied on now (0 for a stale count). When no way wins back that much, return the surest one;
    None when even that wins nothing.
    """
    offered = method_options(likely, shared)
    hidden = likely - lower
    wanted = lower + WORTH_SHARE * hidden
    if danger:  # near a minimum only a precise number helps
        return min(offered, key=lambda way: way.log_sd)
    quick = next((way for way in offered if way.relied >= wanted), None)
    best = quick or max(offered, key=lambda way: way.relied)
    return best if best.relied >= lower + 1 else None


def portions_to_halve(portions: int, share_taken: float) -> int | None:
    """Return how many more portions would halve the log-scale doubt of a count in portions.

    `share_taken` is the share of the tub in the portions so far. Doubt is proportional to t·√((1 − f)/m), so the first
    portions help most. None when that would take the whole tub: sort it fully. Source: Cochran 1977, ch. 6.
    """
    each = share_taken / portions

    def doubt(m: int) -> float:
        left = max(0.0, 1 - each * m)
        return t_quantile(STORED_CONFIDENCE, m - 1) * math.sqrt(left / m)

    whole = math.floor(1 / each)
    enough = (m for m in range(portions + 1, whole + 1) if doubt(m) <= doubt(portions) / 2)
    needed = next(enough, None)
    return None if needed is None or needed >= whole else needed - portions


def portions_for_spread(likely: float, log_sd: float, shared_sd: float = SHARED_SD["portions"]) -> int | None:
    """Return the fewest portions, each 1/80 of the tub, that leave at most `log_sd`; None when no number does."""
    for portions in range(2, math.ceil(1 / PORTION_SHARE)):
        if portions_spread(likely, portions, PORTION_SHARE, shared_sd) <= log_sd:
            return portions
    return None


def _option(method: str, minutes: float, log_sd: float, likely: float, portions: int = 0) -> MethodOption:
    return MethodOption(method, minutes, log_sd, likely * math.exp(-STORED_Z * log_sd), portions)
