"""Whole animals from fractional numbers."""

import math

WHOLE_TOLERANCE = 1e-9  # relative; 69.99999999999999 animals are 70


def whole_below(number: float) -> int:
    """Return the whole animals in `number`, allowing for rounding in binary fractions."""
    return math.floor(number + WHOLE_TOLERANCE * max(1.0, abs(number)))


def whole_above(number: float) -> int:
    """Return the fewest whole animals that cover `number`."""
    return -whole_below(-number)
