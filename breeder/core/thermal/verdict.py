"""Decide the verdict from the share of members that fail: go, no-go or not decided."""

from __future__ import annotations

import math
from dataclasses import dataclass

GO, NO_GO, NOT_DECIDED = "go", "no-go", "not decided"
WITH_PACK = "with pack"  # shown for a Go in a kit with a heat, cold or phase-change pack
LEAVING = (GO, WITH_PACK)
HARM = {GO: 0, NOT_DECIDED: 1, NO_GO: 2}  # from best to worst
LABELS = {GO: "Go", WITH_PACK: "Go with pack", NO_GO: "No-go", NOT_DECIDED: "Not decided"}


def with_pack(decided: str, *, has_pack: bool) -> str:
    """Return the verdict to show: a Go in a kit with a pack has a word of its own."""
    return WITH_PACK if decided == GO and has_pack else decided


@dataclass(frozen=True)
class Limits:
    """What the animals tolerate in the box, degC: a comfort band with hours allowed outside it, and hard limits."""

    low_c: float
    high_c: float
    hours_allowed: float
    hard_low_c: float
    hard_high_c: float

    def __post_init__(self) -> None:
        values = (self.hard_low_c, self.low_c, self.high_c, self.hard_high_c)
        if not all(math.isfinite(value) for value in (*values, self.hours_allowed)):
            raise ValueError("Every limit must be a finite number.")
        if not (self.hard_low_c <= self.low_c < self.high_c <= self.hard_high_c):
            raise ValueError(
                f"The limits {self.hard_low_c:g}, {self.low_c:g}, {self.high_c:g}, {self.hard_high_c:g} degC must go "
                "upwards: hard low, low, high, hard high."
            )
        if self.hours_allowed < 0.0:
            raise ValueError(f"The hours allowed outside comfort are {self.hours_allowed:g}, but cannot be below 0.")


def narrowest_limits(limits: list[Limits]) -> Limits:
    """Return the limits of a mixed parcel: the narrowest of each. Raises ValueError if no band is left."""
    return Limits(
        max(each.low_c for each in limits),
        min(each.high_c for each in limits),
        min(each.hours_allowed for each in limits),
        max(each.hard_low_c for each in limits),
        min(each.hard_high_c for each in limits),
    )


@dataclass(frozen=True)
class Tolerance:
    """The highest acceptable odds of leaving comfort for too long and of passing a hard limit (defaults)."""

    comfort: float = 0.20
    hard: float = 0.05

    def __post_init__(self) -> None:
        for name, value in (("comfort", self.comfort), ("hard", self.hard)):
            if not 0.0 <= value <= 1.0:
                raise ValueError(f"The tolerance for {name} is {value:g}, but it must be from 0 to 1.")


@dataclass(frozen=True)
class Odds:
    """Weight of the members that failed, the same with unknown members included, and the standard error."""

    failed: float
    failed_or_unknown: float
    standard_error: float


ROUNDING = 1e-9  # sums of weights have rounding errors, and odds exactly at the tolerance are accepted


def decide(comfort: Odds, hard: Odds, tolerance: Tolerance) -> str:
    """Return the verdict: no-go if the failed exceed a tolerance, go if failed and unknown together do not."""
    pairs = ((comfort, tolerance.comfort), (hard, tolerance.hard))
    if any(odds.failed > most + ROUNDING for odds, most in pairs):
        return NO_GO
    if all(odds.failed_or_unknown <= most + ROUNDING for odds, most in pairs):
        return GO
    return NOT_DECIDED


# A kit that uses up no more than this share of the tolerance is easy; among easy kits only the cost counts. Choosing
# the cheapest kit that may just go makes three times as many boxes fail, because every day is then at the limit
# (computed for this project from daily forecasts and outcomes of 57 US cities, 2014-2017). At 0.3, nine of ten mild
# days need no pack and 3 Gos in 1000 fail; at 0.2 every ninth of those days needs a pack, and 2 in 1000 fail.
EASY = 0.3


def strain(comfort: Odds, hard: Odds, tolerance: Tolerance) -> float:
    """Return the share of the tolerance that is used up, with unknown members counted as failed: above 1 is no Go."""
    pairs = ((comfort.failed_or_unknown, tolerance.comfort), (hard.failed_or_unknown, tolerance.hard))
    return max(odds / most if most > 0.0 else (0.0 if odds <= ROUNDING else math.inf) for odds, most in pairs)


def kit_preference(used: float, cost: float) -> tuple[bool, float, float]:
    """Return a sort key for kits that may go: the easy ones by cost, then the others by strain."""
    return (False, cost, used) if used <= EASY + ROUNDING else (True, used, cost)
