"""Update a belief with a new count: join the two, or replace the belief."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from breeder.core.counting.defaults import CONFIDENCES, IRRECONCILABLE_Z, STORED_CONFIDENCE
from breeder.core.counting.quantiles import months_between, normal_quantile

from .belief import WIDEST, CountUpdate, LogNormalAnimals, StockBelief, aged, spread_from_median, unrounded_bound
from .events import Ageing, CountEvent
from .reach import Reach, greatest_reach, reach_from


@dataclass(frozen=True)
class Prior:
    """The belief just before a count as one log-normal of the whole tub, with `moved` included.

    `reach` gives its bound at confidences other than 95 %.
    """

    middle: float
    log_sd: float
    shared_sd: float
    reach: Reach = ()

    @property
    def own_variance(self) -> float:
        return max(0.0, self.log_sd**2 - self.shared_sd**2)


def fuse(
    prior: StockBelief | None, count: CountEvent, ageing: Ageing, stage: str, confidences: Sequence[float] = CONFIDENCES
) -> StockBelief:
    """Return the belief after a count, with `moved` included in X.

    Prior and count are averaged on the log scale. Their shared errors are taken to be the same (one keeper), so only
    the rest shrinks and the spread never falls below the shared error. The weights give the least spread; without
    shared errors they are Kalman's. A count more than 1.96 standard deviations of both errors away replaces the belief,
    and so does an exact count or a count of none. All of this is decided at 95 %. At the other `confidences` the bound
    is as far below the median as for the input that widens more. The bound stays at or below the count's estimate
    (`cap`) and at or above the animals in the hand (`floor`). Source: Kalman 1960, J. Basic Eng. 82:35 (local level);
    correlated errors: minimum variance, any textbook.
    """
    before = None if prior is None else prior_at_count(prior, count, ageing, stage, confidences)
    spread = 0.0 if count.exact or count.estimate <= 0 else count.log_sd
    shared = min(spread, count.shared_sd)
    used = CountUpdate(
        "first" if prior is None or prior.counted_on is None else "replaced",
        None if before is None else before.middle,
        None if before is None else before.log_sd,
        None if before is None else before.shared_sd,
        count.estimate,
        spread,
        shared,
        constants=_constants(ageing),
    )
    if count.exact:
        return _after(count, count.estimate, 0.0, 0.0, replace(used, rule="exact"))
    if before is None or count.estimate <= 0:
        return _after(count, count.estimate, spread, shared, used)
    variance = before.log_sd**2 + spread**2
    log_gap = math.log(count.estimate / before.middle)
    z = log_gap / math.sqrt(variance) if variance else None
    if z is None or abs(z) > IRRECONCILABLE_Z:
        return _after(count, count.estimate, spread, shared, replace(used, z=z))
    gain = _gain(before, spread, shared)
    kept = (1 - gain) * before.shared_sd + gain * shared
    own_variance = (1 - gain) ** 2 * before.own_variance + gain**2 * (spread**2 - shared**2)
    middle = before.middle * math.exp(gain * log_gap)
    widest = greatest_reach(
        [reach for reach, sd in ((before.reach, before.log_sd), (count.reach, spread)) if sd], confidences
    )
    joined = replace(used, rule="fused", gain=gain, z=z)
    return _after(count, middle, math.sqrt(own_variance + kept**2), kept, joined, widest)


def _gain(before: Prior, spread: float, shared: float) -> float:
    """Return the weight of the count that leaves the least spread when shared errors go fully together."""
    shared_gap = shared - before.shared_sd
    own_variance = spread**2 - shared**2
    denominator = before.own_variance + own_variance + shared_gap**2
    # When both errors are purely shared, the two counts are equally good, so use the newer one.
    if not denominator:
        return 1.0
    return min(1.0, max(0.0, (before.own_variance - before.shared_sd * shared_gap) / denominator))


def prior_at_count(
    belief: StockBelief, count: CountEvent, ageing: Ageing, stage: str, confidences: Sequence[float] = CONFIDENCES
) -> Prior | None:
    """Return the aged belief as one log-normal of the whole tub, matched in its median and its 95 % bound.

    Matching the bound keeps a safe number safe; matching the variance instead would raise the bound after every sale.
    None when the belief says nothing: the tub was never counted before, or it should be empty.
    """
    if belief.counted_on is None and not belief.moved > 0 and not belief.sources:
        return None
    now = aged(belief, count.at, ageing, stage)
    middle = now.expected
    if middle <= 0:
        return None
    waited = math.sqrt(ageing.widening_per_month * months_between(belief.known_since, count.at))

    def low(confidence: float) -> float:
        # The added animals have waited too: at most since the last count.
        worn = math.exp(-normal_quantile(confidence) * waited) if now.moved > 0 else 1.0
        return unrounded_bound(now, confidence) + now.moved * worn

    log_sd = spread_from_median(middle, low(STORED_CONFIDENCE))
    shared = spread_from_median(middle, unrounded_bound(now, shared_only=True) + now.moved)
    reach = reach_from(lambda level: spread_from_median(middle, low(level)), confidences) if log_sd < WIDEST else ()
    return Prior(middle, log_sd, min(log_sd, shared), reach)


def _after(
    count: CountEvent, middle: float, log_sd: float, shared_sd: float, used: CountUpdate, reach: Reach | None = None
) -> StockBelief:
    reach = count.reach if reach is None else reach
    animals = LogNormalAnimals(middle, log_sd, shared_sd, count.at, cap=count.estimate, floor=count.floor, reach=reach)
    at_count = min(middle, count.estimate)
    return StockBelief((animals,), count.at, counted_on=count.at, used=used, at_count=at_count)


def _constants(ageing: Ageing) -> dict[str, float]:
    return {
        "adult_life_months": ageing.adult_life_months,
        "widening_per_month": ageing.widening_per_month,
        "irreconcilable_z": IRRECONCILABLE_Z,
    } | (
        {"young_mature_months": ageing.young_mature_months, "young_survival": ageing.young_survival}
        if ageing.young_mature_months is not None
        else {}
    )
