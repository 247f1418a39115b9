"""Which way of counting is worth its time for one tub, and how many portions halve its doubt."""

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
from .quantiles import STORED_Z, t_of


@dataclass(frozen=True)
class Way:
    """A way of counting one tub: minutes it takes, log-scale spread it would leave, and what could be relied on then.

    `portions` is how many, where it is counted in portions.
    """

    method: str
    minutes: float
    log_sd: float
    relied: float
    portions: int = 0


def portions_spread(likely: float, portions: int, share_each: float, shared_sd: float) -> float:
    """Return the spread that a count in so many portions leaves, each a `share_each` of the tub, on the log scale.

    Animals are taken to be clustered as a negative binomial with k = 2; the t quantile of few portions and the finite
    tub are counted. Source: Cochran 1977, ch. 6; Elliott 1977 (from memory).
    """
    left = max(0.0, 1 - portions * share_each)
    cv = math.sqrt(left * (1 / (likely * share_each) + 1 / CLUMPING_K) / portions)
    own = t_of(STORED_CONFIDENCE, portions - 1) / STORED_Z * math.sqrt(math.log1p(cv**2))
    return math.hypot(own, shared_sd)


def ways(likely: float, shared: Mapping[str, float] = SHARED_SD) -> list[Way]:
    """Return the ways to count a tub that likely holds so many, the quickest first.

    `shared` are the shared errors by method, for a keeper whose own are known.
    """
    size = next((size for size in EYE_CLASSES if likely < size.high), EYE_CLASSES[-1])
    eye = math.hypot(math.log(size.high / size.low) / EYE_CLASS_WIDTH_SDS, shared["eye"])
    portions = portions_spread(likely, PORTIONS_ASKED, PORTION_SHARE, shared["portions"])
    found = [
        _way("eye", EYE_MINUTES, eye, likely),
        _way("portions", PORTION_MINUTES * PORTIONS_ASKED, portions, likely, PORTIONS_ASKED),
        _way("full_sort", SORT_MINUTES + likely / SORTED_A_MINUTE, shared["full_sort"], likely),
    ]
    return sorted(found, key=lambda way: way.minutes)


def worth_it(
    likely: float, lower: float, *, danger: bool = False, shared: Mapping[str, float] = SHARED_SD
) -> Way | None:
    """Return the quickest way that wins back half of what doubt hides in a tub; in danger, half of the spread.

    `lower` is what is relied on now (0 for a count too old). When none wins back so much it is the surest way, and None
    when even that would win nothing.
    """
    offered = ways(likely, shared)
    hidden = likely - lower
    wanted = lower + WORTH_SHARE * hidden
    if danger:  # near a minimum only a sure number tells
        return min(offered, key=lambda way: way.log_sd)
    quick = next((way for way in offered if way.relied >= wanted), None)
    best = quick or max(offered, key=lambda way: way.relied)
    return best if best.relied >= lower + 1 else None


def portions_to_halve(portions: int, share_taken: float) -> int | None:
    """Return how many portions more would halve the log-scale doubt of a count in portions.

    `share_taken` is the share of the tub in the portions so far; doubt goes with t·√((1 − f)/m), so the first portions
    help most. None when even the whole tub is reached before that: sort it fully. Source: Cochran 1977, ch. 6.
    """
    each = share_taken / portions

    def doubt(m: int) -> float:
        left = max(0.0, 1 - each * m)
        return t_of(STORED_CONFIDENCE, m - 1) * math.sqrt(left / m)

    whole = math.floor(1 / each)
    needed = (m for m in range(portions + 1, whole + 1) if doubt(m) <= doubt(portions) / 2)
    found = next(needed, None)
    return None if found is None or found >= whole else found - portions


def portions_for(likely: float, log_sd: float, shared_sd: float = SHARED_SD["portions"]) -> int | None:
    """Return the fewest portions, each 1/80 of the tub, that leave at most `log_sd`; None when no part of it does."""
    for portions in range(2, math.ceil(1 / PORTION_SHARE)):
        if portions_spread(likely, portions, PORTION_SHARE, shared_sd) <= log_sd:
            return portions
    return None


def _way(method: str, minutes: float, log_sd: float, likely: float, portions: int = 0) -> Way:
    return Way(method, minutes, log_sd, likely * math.exp(-STORED_Z * log_sd), portions)
