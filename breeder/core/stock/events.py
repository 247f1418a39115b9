"""Ledger events that change the number of animals in a tub, and how a stage ages between them."""

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
from breeder.core.counting.methods.count import LEAST_BOUND, Count, spread_from_bound, stored_log_sd
from breeder.core.counting.methods.direct import ONE_BY_ONE

from .reach import Reach, reach_from

# Reasons for a change that adds animals or loses them. Every other change takes animals for people, or brings them back
# from people, and counts against what may be harvested between two counts.
ADDING_REASONS = frozenset({"received", "moved", "died"})
ADULTS, YOUNG = "adults", "young"


@dataclass(frozen=True)
class Ageing:
    """How a belief ages: mean adult life and staleness in months, widening as log-scale variance a month.

    `young_mature_months` is how long young take to grow up (None: young do not age), and `young_survival` is the share
    of them that live that long.
    """

    adult_life_months: float = ADULT_LIFE_MONTHS
    widening_per_month: float = WIDENING_PER_MONTH
    stale_after_months: float = STALE_AFTER_MONTHS
    young_mature_months: float | None = None
    young_survival: float = 1.0

    def left(self, stage: str, months: float) -> float:
        """Return the share of a stage that is left `months` after a count; compute it in one step, never in two."""
        if stage == ADULTS:
            return math.exp(-months / self.adult_life_months)
        if stage != YOUNG or self.young_mature_months is None or not months:
            return 1.0
        grown = months / self.young_mature_months if self.young_mature_months else 1.0
        return young_left(min(1.0, grown), self.young_survival)


def young_left(grown: float, survival: float) -> float:
    """Return the share of the counted young that are still young after the part `grown` (0 to 1) of the way to adult.

    Assumes young of all ages at the count and a constant death rate, so that the share `survival` of a brood grows up:
    (s^u − s)/(1 − s), or 1 − u when none die. Source: own arithmetic, with ages spread evenly between birth and
    maturity and weighted by survival; checked by simulation in tests/core/reserve.
    """
    if survival >= 1:
        return 1 - grown
    if survival <= 0:
        return 0.0 if grown else 1.0
    return survival * math.expm1((grown - 1) * math.log(survival)) / (1 - survival)


@dataclass(frozen=True)
class CountEvent:
    """A count: `estimate` in animals, `log_sd` the spread on the log scale, `shared_sd` its part that repetition keeps.

    `exact` means that every animal was in the hand; such a count overrules everything before it. `floor` animals were
    in the hand in any case. `reach` is how far the bound is below the estimate at confidences other than 95 %; empty
    means as far as for a normal distribution.
    """

    at: date
    estimate: float
    log_sd: float
    shared_sd: float = 0.0
    exact: bool = False
    floor: float = 0.0
    reach: Reach = ()


@dataclass(frozen=True)
class ExactChange:
    """An exact change: a whole number of animals added (positive) or taken (negative), and the reason."""

    at: date
    number: int
    reason: str = ""


@dataclass(frozen=True)
class ApproximateChange:
    """An approximate change: about `number` animals added (positive) or taken (negative), with a log-scale spread.

    When a part of the tub was tipped out, `share` is that part and `log_sd` its spread; `number` is then only for
    display. `shared_sd` is the part of the spread that counting again would not reduce.
    """

    at: date
    number: int
    log_sd: float
    share: float | None = None
    shared_sd: float = 0.0


Event = CountEvent | ExactChange | ApproximateChange


def count_event(at: date, count: Count, *, confidences: Sequence[float] = CONFIDENCES) -> CountEvent:
    """Return a method's count as a ledger event: estimate, 95 % bound as a log-scale spread, and other bounds.

    The bound is kept for 95 % and for `confidences`. A count one by one in which no animal can have been missed is
    exact. A before-and-after-sale count estimates the tub before the sale; the animals sold are taken off here, from
    the estimate and from the bounds. Raises ValueError when the count has no estimate or no bound.
    """
    if count.estimate is None:
        raise ValueError("This count has no estimate, so nothing can rest on it. Count in another way.")
    log_sd, gone = stored_log_sd(count), count.taken_since
    left = max(count.estimate - gone, LEAST_BOUND) if gone else count.estimate
    if gone:
        log_sd = spread_from_bound(left, count.lower_at(STORED_CONFIDENCE) - gone)
    exact = count.method in ONE_BY_ONE and not log_sd
    reach = reach_from(lambda level: _reach_to(left, count.lower_at(level) - gone), confidences)
    return CountEvent(at, left, log_sd, count.shared_sd, exact, min(left, max(0.0, count.floor - gone)), reach)


def _reach_to(estimate: float, low: float) -> float:
    return math.log(estimate / min(estimate, max(low, LEAST_BOUND))) if estimate > 0 else 0.0
