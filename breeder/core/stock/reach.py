"""How far a bound is below its median at confidences other than the standard 95 %."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from breeder.core.counting.defaults import STORED_CONFIDENCE
from breeder.core.counting.quantiles import STORED_Z, normal_quantile

# Pairs of a one-sided confidence and the reach there as a multiple of the reach at 95 %, in ascending order. An empty
# list means the reach of a normal distribution.
Reach = tuple[tuple[float, float], ...]
LIKE_NORMAL = 1e-9  # relative; a list that differs by less counts as normal


def reach_from(reach_at: Callable[[float], float], confidences: Sequence[float]) -> Reach:
    """Return the list for a bound whose log-scale reach at a confidence is `reach_at(confidence)`.

    It is empty when the bound is normal or is not below its median at all.
    """
    standard = reach_at(STORED_CONFIDENCE)
    if standard <= 0:
        return ()
    return unless_normal(tuple((level, reach_at(level) / standard) for level in sorted(confidences)))


def unless_normal(reach: Reach) -> Reach:
    """Return the list, or an empty list when it equals that of a normal distribution."""
    return reach if any(abs(times - _normal(level)) > LIKE_NORMAL for level, times in reach) else ()


def reach_multiple(reach: Reach, confidence: float) -> float:
    """Return the reach at a confidence as a multiple of the reach at 95 %.

    Between two listed confidences the next higher one is used, which is the safe side. Raises ValueError above the
    highest.
    """
    if confidence == STORED_CONFIDENCE:
        return 1.0
    if not reach:
        return _normal(confidence)
    for level, times in reach:
        if level >= confidence:
            return times
    raise ValueError(f"No bound is kept for a confidence of {confidence:g}; the highest is {reach[-1][0]:g}.")


def greatest_reach(reaches: Sequence[Reach], confidences: Sequence[float]) -> Reach:
    """Return the greatest of several reaches at each confidence."""
    return unless_normal(
        tuple((level, max(reach_multiple(reach, level) for reach in reaches)) for level in sorted(confidences))
    )


def _normal(confidence: float) -> float:
    return normal_quantile(confidence) / STORED_Z
