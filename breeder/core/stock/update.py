"""What a new count does to a belief: join, or replace."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from breeder.core.counting.defaults import IRRECONCILABLE_Z
from breeder.core.counting.quantiles import STORED_Z, months_between

from .belief import Animals, Belief, Used, aged, low_of, spread_between
from .events import Ageing, Counted


@dataclass(frozen=True)
class Prior:
    """The whole tub as believed just before a count, as one log-normal: `moved` folded in."""

    middle: float
    log_sd: float
    shared_sd: float

    @property
    def own_variance(self) -> float:
        return max(0.0, self.log_sd**2 - self.shared_sd**2)


def fuse(prior: Belief | None, count: Counted, ageing: Ageing, stage: str) -> Belief:
    """Return the belief after a count, `moved` folded in.

    The two are averaged on the log scale. Their shared errors are taken to be one and the same (one keeper), so only
    the rest shrinks and the spread never falls under the shared error; the weights are those of least spread, which
    without shared errors are Kalman's. A count further off than 1.96 standard deviations of both errors replaces the
    belief, as does an exact one, or a count of none. The bound stays under the count's own estimate (`cap`). Source:
    Kalman 1960, J. Basic Eng. 82:35 (local level); correlated errors: minimum variance, any textbook.
    """
    before = None if prior is None else prior_of(prior, count, ageing, stage)
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
    return _after(count, middle, math.sqrt(own + kept**2), kept, replace(used, rule="fused", gain=gain, z=z))


def _gain(before: Prior, spread: float, shared: float) -> float:
    """Return the weight of the count that leaves the least spread, shared errors going fully together."""
    apart = shared - before.shared_sd
    own = spread**2 - shared**2
    below = before.own_variance + own + apart**2
    # Two errors that are nothing but shared say the same thing; the newer one is as good.
    return min(1.0, max(0.0, (before.own_variance - before.shared_sd * apart) / below)) if below else 1.0


def prior_of(belief: Belief, count: Counted, ageing: Ageing, stage: str) -> Prior | None:
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
    months = months_between(belief.known_since, count.at)
    moved = float(now.moved)
    if moved > 0:  # the added animals have waited too: at most since the last count
        moved *= math.exp(-STORED_Z * math.sqrt(ageing.widening_per_month * months))
    log_sd = spread_between(middle, low_of(now, STORED_Z) + moved)
    shared = spread_between(middle, low_of(now, STORED_Z, shared_only=True) + now.moved)
    return Prior(middle, log_sd, min(log_sd, shared))


def _after(count: Counted, middle: float, log_sd: float, shared_sd: float, used: Used) -> Belief:
    animals = Animals(middle, log_sd, shared_sd, count.at, cap=count.estimate)
    return Belief((animals,), count.at, counted_on=count.at, used=used)


def _constants(ageing: Ageing) -> dict[str, float]:
    return {
        "adult_life_months": ageing.adult_life_months,
        "widening_per_month": ageing.widening_per_month,
        "irreconcilable_z": IRRECONCILABLE_Z,
    }
