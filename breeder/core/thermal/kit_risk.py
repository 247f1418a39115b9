"""From simulated payload curves to what they mean: who fails what, the odds over delay cases, the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import metrics
from .metrics import Extremes
from .verdict import Limits, Odds, Tolerance, decide

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

QUANTILES = (0.05, 0.5, 0.95)
WEIGHTS_ADD_UP_WITHIN = 1e-6


@dataclass(frozen=True)
class Moment:
    """Quantiles 0.05, 0.5, 0.95 of an extreme, degC, and the median hour at which it comes."""

    quantiles_c: tuple[float, ...]
    hour: float


@dataclass(frozen=True)
class Band:
    """The payload through the first case: hours and the quantiles 0.05, 0.5, 0.95 at each, degC (NaN: unknown)."""

    hour: tuple[float, ...]
    low_c: tuple[float, ...]
    middle_c: tuple[float, ...]
    high_c: tuple[float, ...]


@dataclass(frozen=True)
class CaseOutcome:
    """What one delay case does to the animals: shares of its members, and the hours its forecast lacks."""

    name: str
    weight: float
    comfort_failed: float
    comfort_unknown: float
    hard_failed: float
    hard_unknown: float
    missing_hours: tuple[float, ...]
    cold_hour: float | None  # median hour at which members that fail by cold first leave comfort; None: none does
    hot_hour: float | None


@dataclass(frozen=True)
class Outcome:
    """The answer to one kit: verdict, odds, extremes, and what is missing. Hours are weighted means over members."""

    verdict: str
    comfort: Odds
    hard: Odds
    too_cold: float  # weight of members that fail by cold, of either limit
    too_warm: float
    coldest: Moment
    warmest: Moment
    hours_below: float
    hours_above: float
    degree_hours_below: float
    degree_hours_above: float
    missing_hours: tuple[float, ...]
    stalled: float  # weight of members in whose box a heat pack freezes
    cases: tuple[CaseOutcome, ...]
    curve: Band


@dataclass(frozen=True)
class Judged:
    """All members of one delay case: arrays (N,), the payload (M, N) NaN from a missing hour on."""

    name: str
    weight: float
    hour: Array
    payload_c: Array
    missing_hours: tuple[float, ...]
    complete: Flags
    stalled: Flags
    comfort_failed: Flags
    hard_failed: Flags
    too_cold: Flags
    too_warm: Flags
    hours_below: Array
    hours_above: Array
    degree_hours_below: Array
    degree_hours_above: Array
    extremes: Extremes


def cut(hour: Array, payload_c: Array, known_until: Array, complete: Flags) -> Array:
    """Return the payload with NaN after the last known hour of each member that lacks one.

    From that hour on the straight line of the weather is unknown. A member that lacks even hour 0 keeps its start.
    """
    if complete.all():
        return payload_c
    until = np.where(complete, np.inf, np.maximum(known_until, 0.0))
    return np.where(hour[:, None] <= until + 1e-9, payload_c, np.nan)


def judge(
    name: str,
    weight: float,
    hour: Array,
    payload_c: Array,
    limits: Limits,
    *,
    complete: Flags,
    stalled: Flags,
    missing_hours: tuple[float, ...],
) -> Judged:
    """Return which members of a case fail what.

    Comfort fails when the hours outside the band, below and above together, exceed the allowance; the hard limits when
    the payload is ever beyond them.
    """
    below, cold_k_h = metrics.time_below(hour, payload_c, limits.low_c)
    above, warm_k_h = metrics.time_above(hour, payload_c, limits.high_c)
    found = metrics.extremes(hour, payload_c)
    hard_cold, hard_warm = found.coldest_c < limits.hard_low_c, found.warmest_c > limits.hard_high_c
    comfort_failed = below + above > limits.hours_allowed
    return Judged(
        name=name,
        weight=weight,
        hour=hour,
        payload_c=payload_c,
        missing_hours=missing_hours,
        complete=complete,
        stalled=stalled,
        comfort_failed=comfort_failed,
        hard_failed=hard_cold | hard_warm,
        too_cold=hard_cold | comfort_failed & (below > 0.0),
        too_warm=hard_warm | comfort_failed & (above > 0.0),
        hours_below=below,
        hours_above=above,
        degree_hours_below=cold_k_h,
        degree_hours_above=warm_k_h,
        extremes=found,
    )


def weights_fault(weights: Sequence[float]) -> str | None:
    """Return what is wrong with the weights of the delay cases, or None."""
    if not weights:
        return "There is no delay case, but at least one is needed."
    if min(weights) < 0.0:
        return f"A delay case has the weight {min(weights):g}, but it cannot be below 0."
    if abs(sum(weights) - 1.0) > WEIGHTS_ADD_UP_WITHIN:
        return f"The weights of the delay cases add up to {sum(weights):g}, but they must add up to 1."
    return None


def outcome(judged: Sequence[Judged], limits: Limits, tolerance: Tolerance) -> Outcome:
    """Return the outcome over all delay cases by their weights, which must add up to 1 (ValueError)."""
    fault = weights_fault([case.weight for case in judged])
    if fault:
        raise ValueError(fault)
    comfort = _odds([(case.weight, case.comfort_failed, case.complete) for case in judged])
    hard = _odds([(case.weight, case.hard_failed, case.complete) for case in judged])

    def mean(values: Iterable[Array | Flags]) -> float:
        return float(sum(case.weight * float(np.mean(value)) for case, value in zip(judged, values, strict=True)))

    return Outcome(
        verdict=decide(comfort, hard, tolerance),
        comfort=comfort,
        hard=hard,
        too_cold=mean(case.too_cold for case in judged),
        too_warm=mean(case.too_warm for case in judged),
        coldest=_moment([(case.weight, case.extremes.coldest_c, case.extremes.coldest_hour) for case in judged]),
        warmest=_moment([(case.weight, case.extremes.warmest_c, case.extremes.warmest_hour) for case in judged]),
        hours_below=mean(case.hours_below for case in judged),
        hours_above=mean(case.hours_above for case in judged),
        degree_hours_below=mean(case.degree_hours_below for case in judged),
        degree_hours_above=mean(case.degree_hours_above for case in judged),
        missing_hours=tuple(sorted({hour for case in judged for hour in case.missing_hours})),
        stalled=mean(case.stalled for case in judged),
        cases=tuple(_case_outcome(case, limits) for case in judged),
        curve=_band(judged[0]),
    )


def _odds(cases: Sequence[tuple[float, Flags, Flags]]) -> Odds:
    """Return the odds from (weight, failed, complete); the standard error is that of a stratified share."""
    failed, unknown, variance = 0.0, 0.0, 0.0
    for weight, broken, complete in cases:
        share = float(np.mean(broken))
        failed += weight * share
        unknown += weight * float(np.mean(~complete & ~broken))
        variance += weight**2 * share * (1.0 - share) / len(broken)
    return Odds(failed, failed + unknown, float(np.sqrt(variance)))


def _moment(found: Sequence[tuple[float, Array, Array]]) -> Moment:
    """Return quantiles over all cases and members, by weight; what is known of incomplete members counts."""
    values, hours = np.concatenate([v for _, v, _ in found]), np.concatenate([h for _, _, h in found])
    share = np.concatenate([np.full(len(v), weight / len(v)) for weight, v, _ in found])
    used = share > 0.0
    quantiles = metrics.weighted_quantiles(values[used], share[used], QUANTILES)
    return Moment(quantiles, metrics.weighted_quantiles(hours[used], share[used], (0.5,))[0])


def _case_outcome(case: Judged, limits: Limits) -> CaseOutcome:
    unknown = ~case.complete
    return CaseOutcome(
        name=case.name,
        weight=case.weight,
        comfort_failed=float(np.mean(case.comfort_failed)),
        comfort_unknown=float(np.mean(unknown & ~case.comfort_failed)),
        hard_failed=float(np.mean(case.hard_failed)),
        hard_unknown=float(np.mean(unknown & ~case.hard_failed)),
        missing_hours=case.missing_hours,
        cold_hour=_first_hour(case.hour, -case.payload_c[:, case.too_cold], -limits.low_c),
        hot_hour=_first_hour(case.hour, case.payload_c[:, case.too_warm], limits.high_c),
    )


def _first_hour(hour: Array, curve_c: Array, limit_c: float) -> float | None:
    """Return the median hour at which curves (M, failing members) first pass a limit."""
    if not curve_c.shape[1]:
        return None
    return float(np.median(hour[(curve_c > limit_c).argmax(axis=0)]))


def _band(case: Judged) -> Band:
    """Return the quantiles at whole hours; an hour that any member lacks is unknown."""
    whole = np.flatnonzero(np.isclose(case.hour, np.rint(case.hour)))
    rows = np.sort(case.payload_c[whole], axis=1)  # a NaN sorts last, and then spoils its hour below
    rows[np.isnan(rows[:, -1])] = np.nan
    low, middle, high = np.quantile(rows, QUANTILES, axis=1)
    return Band(*(tuple(float(one) for one in row) for row in (case.hour[whole], low, middle, high)))
