"""What a new count does to a belief: join, or replace."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from breeder.core.counting.defaults import CONFIDENCES, IRRECONCILABLE_Z, STORED_CONFIDENCE
from breeder.core.counting.quantiles import months_between, z_of

from .belief import WIDEST, Animals, Belief, Used, aged, low_of, spread_between
from .events import Ageing, Counted
from .reach import Reach, greatest, reach_from


@dataclass(frozen=True)
class Prior:
    """The whole tub as believed just before a count, as one log-normal: `moved` folded in.

    `reach` is how its bound reaches at other confidences than 95 %.
    """

    middle: float
    log_sd: float
    shared_sd: float
    reach: Reach = ()

    @property
    def own_variance(self) -> float:
        return max(0.0, self.log_sd**2 - self.shared_sd**2)


def fuse(
    prior: Belief | None, count: Counted, ageing: Ageing, stage: str, confidences: Sequence[float] = CONFIDENCES
) -> Belief:
    """Return the belief after a count, `moved` folded in.

    The two are averaged on the log scale. Their shared errors are taken to be one and the same (one keeper), so only
    the rest shrinks and the spread never falls under the shared error; the weights are those of least spread, which
    without shared errors are Kalman's. A count further off than 1.96 standard deviations of both errors replaces the
    belief, as does an exact one, or a count of none. All of this is decided at 95 %; at another confidence of
    `confidences` the bound reaches as far below the middle as that of whichever of the two widens more. The bound stays
    under the count's own estimate (`cap`) and above what was in the hand (`floor`). Source: Kalman 1960, J. Basic Eng.
    82:35 (local level); correlated errors: minimum variance, any textbook.
    """
    before = None if prior is None else prior_of(prior, count, ageing, stage, confidences)
    spread = 0.0 if count.exact or count.estimate <= 0 else count.log_sd
    shared = min(spread, count.shared_sd)
    used = Used(
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
    both = before.log_sd**2 + spread**2
    apart = math.log(count.estimate / before.middle)
    z = apart / math.sqrt(both) if both else None
    if z is None or abs(z) > IRRECONCILABLE_Z:
        return _after(count, count.estimate, spread, shared, replace(used, z=z))
    gain = _gain(before, spread, shared)
    kept = (1 - gain) * before.shared_sd + gain * shared
    own = (1 - gain) ** 2 * before.own_variance + gain**2 * (spread**2 - shared**2)
    middle = before.middle * math.exp(gain * apart)
    widest = greatest(
        [reach for reach, sd in ((before.reach, before.log_sd), (count.reach, spread)) if sd], confidences
    )
    joined = replace(used, rule="fused", gain=gain, z=z)
    return _after(count, middle, math.sqrt(own + kept**2), kept, joined, widest)


def _gain(before: Prior, spread: float, shared: float) -> float:
    """Return the weight of the count that leaves the least spread, shared errors going fully together."""
    apart = shared - before.shared_sd
    own = spread**2 - shared**2
    below = before.own_variance + own + apart**2
    # Two errors that are nothing but shared say the same thing; the newer one is as good.
    return min(1.0, max(0.0, (before.own_variance - before.shared_sd * apart) / below)) if below else 1.0


def prior_of(
    belief: Belief, count: Counted, ageing: Ageing, stage: str, confidences: Sequence[float] = CONFIDENCES
) -> Prior | None:
    """Return the aged belief as one log-normal of the whole tub, matched in its median and its 95 % bound.

    Re-fitting by the bound keeps what is safe safe; matching the variance instead would raise the bound after every
    sale. None when the belief says nothing: a tub never counted before, or one that should be empty.
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
        worn = math.exp(-z_of(confidence) * waited) if now.moved > 0 else 1.0
        return low_of(now, confidence) + now.moved * worn

    log_sd = spread_between(middle, low(STORED_CONFIDENCE))
    shared = spread_between(middle, low_of(now, shared_only=True) + now.moved)
    reach = reach_from(lambda level: spread_between(middle, low(level)), confidences) if log_sd < WIDEST else ()
    return Prior(middle, log_sd, min(log_sd, shared), reach)


def _after(
    count: Counted, middle: float, log_sd: float, shared_sd: float, used: Used, reach: Reach | None = None
) -> Belief:
    reach = count.reach if reach is None else reach
    animals = Animals(middle, log_sd, shared_sd, count.at, cap=count.estimate, floor=count.floor, reach=reach)
    at_count = min(middle, count.estimate)
    return Belief((animals,), count.at, counted_on=count.at, used=used, at_count=at_count)


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
