"""What can happen to the number of animals in a tub, as the ledger tells it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from breeder.core.counting.defaults import ADULT_LIFE_MONTHS, STALE_AFTER_MONTHS, WIDENING_PER_MONTH
from breeder.core.counting.methods import Count, log_sd_of
from breeder.core.counting.methods.count import NOTHING_AT_ALL, spread_to
from breeder.core.counting.quantiles import STORED_Z

# Reasons of a change that take animals for people, against the share that may be harvested between two counts; what
# comes back from a show counts the other way. Moving, receiving and dying change what the share is taken of instead.
HARVEST_REASONS = frozenset({"packed", "culled", "returned", "sold", "swapped", ""})
DYING_STAGES = frozenset({"adults"})  # only adults die of age while the book waits


@dataclass(frozen=True)
class Ageing:
    """How a belief fades: mean adult life and staleness in months, widening as variance on the log scale a month."""

    adult_life_months: float = ADULT_LIFE_MONTHS
    widening_per_month: float = WIDENING_PER_MONTH
    stale_after_months: float = STALE_AFTER_MONTHS


@dataclass(frozen=True)
class Counted:
    """A count: `estimate` animals, `log_sd` whole spread on the log scale, `shared_sd` the part repetition keeps.

    `exact` says that every animal was in the hand; it overrules everything before it.
    """

    at: date
    estimate: float
    log_sd: float
    shared_sd: float = 0.0
    exact: bool = False


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


def counted_from(at: date, count: Count, *, exact: bool = False) -> Counted:
    """Return the ledger's form of a method's answer: its estimate and one-sided 95 % bound as a log-scale spread.

    A count by before-and-after a sale estimates the tub before the sale; what was sold is taken off here, from the
    estimate and from the bound. Raises ValueError when the count determines no estimate or no bound.
    """
    if count.estimate is None:
        raise ValueError("This count has no estimate, so nothing can rest on it. Count in another way.")
    log_sd = log_sd_of(count)
    if count.taken_since:
        lower95 = _stored_lower(count.estimate, log_sd) - count.taken_since
        left = max(count.estimate - count.taken_since, NOTHING_AT_ALL)
        return Counted(at, left, spread_to(left, lower95), count.shared_sd)
    return Counted(at, count.estimate, log_sd, count.shared_sd, exact)


def _stored_lower(estimate: float, log_sd: float) -> float:
    return estimate * math.exp(-STORED_Z * log_sd)
