"""What can happen to the number of animals in a tub, as the ledger tells it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.counting.defaults import (
    ADULT_LIFE_MONTHS,
    CONFIDENCES,
    STALE_AFTER_MONTHS,
    STORED_CONFIDENCE,
    WIDENING_PER_MONTH,
)
from breeder.core.counting.methods import ONE_BY_ONE, Count, log_sd_of
from breeder.core.counting.methods.count import NOTHING_AT_ALL, spread_to

from .reach import Reach, reach_from

# Reasons of a change that put animals in or lose them. Every other change takes animals for people, or brings them back
# from people: it counts against what may be harvested between two counts.
ADDING_REASONS = frozenset({"received", "moved", "died"})
ADULTS, YOUNG = "adults", "young"


@dataclass(frozen=True)
class Ageing:
    """How a belief fades: mean adult life and staleness in months, widening as variance on the log scale a month.

    `young_mature_months` is how long young take to grow up and `young_survival` the share of them that live to; None:
    young do not age.
    """

    adult_life_months: float = ADULT_LIFE_MONTHS
    widening_per_month: float = WIDENING_PER_MONTH
    stale_after_months: float = STALE_AFTER_MONTHS
    young_mature_months: float | None = None
    young_survival: float = 1.0

    def left(self, stage: str, months: float) -> float:
        """Return the share of a stage that is left so many months after a count: in one step, never in two."""
        if stage == ADULTS:
            return math.exp(-months / self.adult_life_months)
        if stage != YOUNG or self.young_mature_months is None or not months:
            return 1.0
        grown = months / self.young_mature_months if self.young_mature_months else 1.0
        return young_left(min(1.0, grown), self.young_survival)


def young_left(grown: float, survival: float) -> float:
    """Return the share of the young counted that are still young after the part `grown` (0 to 1) of the way to adult.

    Young of all ages at the count; each dies at an even rate, so that `survival` of a brood grow up:
    (s^u − s)/(1 − s), and 1 − u where none die. Source: own arithmetic, ages even between birth and maturity weighted
    by who is alive; checked by simulation in tests/census.
    """
    if survival >= 1:
        return 1 - grown
    if survival <= 0:
        return 0.0 if grown else 1.0
    return survival * math.expm1((grown - 1) * math.log(survival)) / (1 - survival)


@dataclass(frozen=True)
class Counted:
    """A count: `estimate` animals, `log_sd` whole spread on the log scale, `shared_sd` the part repetition keeps.

    `exact` says that every animal was in the hand; it overrules everything before it. `floor` animals were in the hand
    in any case. `reach` is how far the bound reaches below the estimate at other confidences than 95 %; empty: as a
    normal does.
    """

    at: date
    estimate: float
    log_sd: float
    shared_sd: float = 0.0
    exact: bool = False
    floor: float = 0.0
    reach: Reach = ()


@dataclass(frozen=True)
class Moved:
    """A whole number of animals, known exactly, added (positive) or taken (negative), and why."""

    at: date
    number: int
    reason: str = ""


@dataclass(frozen=True)
class About:
    """About `number` animals added (positive) or taken (negative), with a spread on the log scale.

    Where a part of the tub was tipped out rather than a number, `share` is that part and `log_sd` its spread; `number`
    then only tells the reader how many that was. `shared_sd` is the part of the spread that counting again would keep.
    """

    at: date
    number: int
    log_sd: float
    share: float | None = None
    shared_sd: float = 0.0


Event = Counted | Moved | About


def counted_from(at: date, count: Count, *, confidences: Sequence[float] = CONFIDENCES) -> Counted:
    """Return the ledger's form of a method's answer: estimate, 95 % bound as a log-scale spread, and other bounds.

    `confidences` are those at which the bound may be asked for, besides 95 %. A count one by one in which none can have
    been missed is exact. A count by before-and-after a sale
    estimates the tub before the sale; what was sold is taken off here, from the estimate and from the bounds. Raises
    ValueError when the count determines no estimate or no bound.
    """
    if count.estimate is None:
        raise ValueError("This count has no estimate, so nothing can rest on it. Count in another way.")
    log_sd, gone = log_sd_of(count), count.taken_since
    left = max(count.estimate - gone, NOTHING_AT_ALL) if gone else count.estimate
    if gone:
        log_sd = spread_to(left, count.lower_at(STORED_CONFIDENCE) - gone)
    exact = count.method in ONE_BY_ONE and not log_sd
    reach = reach_from(lambda level: _reach_to(left, count.lower_at(level) - gone), confidences)
    return Counted(at, left, log_sd, count.shared_sd, exact, min(left, max(0.0, count.floor - gone)), reach)


def _reach_to(estimate: float, low: float) -> float:
    return math.log(estimate / min(estimate, max(low, NOTHING_AT_ALL))) if estimate > 0 else 0.0
