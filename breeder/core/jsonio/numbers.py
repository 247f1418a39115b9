"""Read one number from JSON: what counts as a number, and the complaint when a value does not."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from .duplicate_keys import json_type_text

Complain = Callable[[str], None]  # receives the sentence; the caller knows the place


@dataclass(frozen=True)
class Bounds:
    """The allowed range of a number: [low, high], or strictly above or below a bound."""

    low: float | None = None
    high: float | None = None
    above: float | None = None
    below: float | None = None

    def broken_by(self, number: float) -> str:
        """Return what the number should have been, or empty text when it is within the bounds."""
        wishes = []
        if self.low is not None and number < self.low:
            wishes.append(f"at least {self.low:g}")
        if self.high is not None and number > self.high:
            wishes.append(f"at most {self.high:g}")
        if self.above is not None and number <= self.above:
            wishes.append(f"above {self.above:g}")
        if self.below is not None and number >= self.below:
            wishes.append(f"below {self.below:g}")
        return " and ".join(wishes)


def read_number(value: object, bounds: Bounds, complain: Complain) -> float:
    """Return a finite number within the bounds, or NaN after complaining once."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        complain(f"It must be a number, not {json_type_text(value)}.")
        return math.nan
    try:
        number = float(value)
    except OverflowError:  # an integer of more than 308 digits
        number = math.inf
    if not math.isfinite(number):
        complain("It must be a finite number.")
        return math.nan
    wrong = bounds.broken_by(number)
    if wrong:
        complain(f"It is {number:g}, but it must be {wrong}.")
        return math.nan
    return number


def read_whole(value: object, bounds: Bounds, complain: Complain) -> int:
    """Return a whole number within the bounds (10.0 counts as 10), or 0 after complaining once."""
    number = read_number(value, bounds, complain)
    if math.isnan(number):
        return 0
    if not number.is_integer():
        complain(f"It is {number:g}, but it must be a whole number.")
        return 0
    return int(value) if isinstance(value, int) else int(number)
