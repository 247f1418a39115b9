"""How far a bound reaches below its middle, at other confidences than the 95 % that everything is decided at."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from breeder.core.counting.defaults import STORED_CONFIDENCE
from breeder.core.counting.quantiles import STORED_Z, z_of

# Pairs of a one-sided confidence and the reach there as a multiple of the reach at 95 %, in ascending order. Empty: the
# reach of a normal, which needs no list.
Reach = tuple[tuple[float, float], ...]
LIKE_NORMAL = 1e-9  # relative; a list that differs by less is none


def reach_from(reach_at: Callable[[float], float], confidences: Sequence[float]) -> Reach:
    """Return the list for a bound of which `reach_at` tells the reach on the log scale at a confidence.

    Empty where the bound is a normal one, or does not reach below its middle at all.
    """
    whole = reach_at(STORED_CONFIDENCE)
    if whole <= 0:
        return ()
    return unless_normal(tuple((level, reach_at(level) / whole) for level in sorted(confidences)))


def unless_normal(reach: Reach) -> Reach:
    """Return the list, or an empty one where it says nothing that a normal does not."""
    return reach if any(abs(times - _normal(level)) > LIKE_NORMAL for level, times in reach) else ()


def multiple_at(reach: Reach, confidence: float) -> float:
    """Return the reach at a confidence as a multiple of the reach at 95 %.

    Between two listed confidences the next higher holds, which is the safe side. Raises ValueError above the highest.
    """
    if confidence == STORED_CONFIDENCE:
        return 1.0
    if not reach:
        return _normal(confidence)
    for level, times in reach:
        if level >= confidence:
            return times
    raise ValueError(f"No bound is kept for a confidence of {confidence:g}; the highest is {reach[-1][0]:g}.")


def greatest(reaches: Sequence[Reach], confidences: Sequence[float]) -> Reach:
    """Return the list of the greatest reach of several, confidence by confidence."""
    return unless_normal(
        tuple((level, max(multiple_at(reach, level) for reach in reaches)) for level in sorted(confidences))
    )


def _normal(confidence: float) -> float:
    return z_of(confidence) / STORED_Z
