"""Turn what the members of each delay case go through into failures, odds and a verdict."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import metrics
from .batch import SweepResult
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
class CaseRisk:
    """The result of one delay case: shares of its members that fail, and the hours missing from its forecast."""

    name: str
    weight: float
    comfort_failed: float
    hard_failed: float
    missing_hours: tuple[float, ...]
    cold_hour: float | None  # median hour at which members that fail by cold first leave comfort; None if none fails
    hot_hour: float | None


@dataclass(frozen=True)
class KitRisk:
    """The result for one kit: verdict, odds, extremes, missing hours. Hours are weighted means over members."""

    verdict: str
    comfort: Odds
    hard: Odds
    too_cold: float  # weight of members that fail by cold, by comfort or hard limit
    too_warm: float
    coldest: Moment
    warmest: Moment
    hours_below: float
    hours_above: float
    missing_hours: tuple[float, ...]
    stalled: float  # weight of members whose heat pack freezes
    cases: tuple[CaseRisk, ...]


@dataclass(frozen=True)
class Failures:
    """Which members fail comfort or the hard limits; `cold` and `warm` say on which side. All of one shape."""

    comfort: Flags
    hard: Flags
    cold: Flags
    warm: Flags


def failures(swept: SweepResult, limits: Limits) -> Failures:
    """Return which members fail.

    A member fails comfort when its hours outside the band, below and above together, exceed the allowance, and the hard
    limits when its payload is ever beyond them.
    """
    hard_cold, hard_warm = swept.coldest_c < limits.hard_low_c, swept.warmest_c > limits.hard_high_c
    comfort = swept.hours_below + swept.hours_above > limits.hours_allowed
    return Failures(
        comfort,
        hard_cold | hard_warm,
        hard_cold | comfort & (swept.hours_below > 0.0),
        hard_warm | comfort & (swept.hours_above > 0.0),
    )


@dataclass(frozen=True)
class JudgedCase:
    """All members of one delay case, arrays (N,); nothing after a missing hour counts."""

    name: str
    weight: float
    swept: SweepResult
    failed: Failures
    complete: Flags
    missing_hours: tuple[float, ...]


def judge_case(
    name: str, weight: float, swept: SweepResult, limits: Limits, *, complete: Flags, missing_hours: tuple[float, ...]
) -> JudgedCase:
    """Return the failures in one case; `complete` (N,): no hour of the member is missing."""
    return JudgedCase(name, weight, swept, failures(swept, limits), complete, missing_hours)


def weights_fault(weights: Sequence[float]) -> str | None:
    """Return what is wrong with the weights of the delay cases, or None."""
    if not weights:
        return "There is no delay case, but at least one is needed."
    if min(weights) < 0.0:
        return f"A delay case has the weight {min(weights):g}, but it cannot be below 0."
    if abs(sum(weights) - 1.0) > WEIGHTS_ADD_UP_WITHIN:
        return f"The weights of the delay cases add up to {sum(weights):g}, but they must add up to 1."
    return None


def overall_risk(judged: Sequence[JudgedCase], tolerance: Tolerance) -> KitRisk:
    """Return the outcome over all delay cases. Raises ValueError if their weights do not add up to 1."""
    fault = weights_fault([case.weight for case in judged])
    if fault:
        raise ValueError(fault)
    comfort = _odds([(case.weight, case.failed.comfort, case.complete) for case in judged])
    hard = _odds([(case.weight, case.failed.hard, case.complete) for case in judged])

    def mean(values: Iterable[Array | Flags]) -> float:
        return float(sum(case.weight * float(np.mean(value)) for case, value in zip(judged, values, strict=True)))

    return KitRisk(
        verdict=decide(comfort, hard, tolerance),
        comfort=comfort,
        hard=hard,
        too_cold=mean(case.failed.cold for case in judged),
        too_warm=mean(case.failed.warm for case in judged),
        coldest=_moment([(case.weight, case.swept.coldest_c, case.swept.coldest_hour) for case in judged]),
        warmest=_moment([(case.weight, case.swept.warmest_c, case.swept.warmest_hour) for case in judged]),
        hours_below=mean(case.swept.hours_below for case in judged),
        hours_above=mean(case.swept.hours_above for case in judged),
        missing_hours=tuple(sorted({hour for case in judged for hour in case.missing_hours})),
        stalled=mean(case.swept.stalled for case in judged),
        cases=tuple(_case_outcome(case) for case in judged),
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


def _moment(cases: Sequence[tuple[float, Array, Array]]) -> Moment:
    """Return quantiles over all cases and members by weight; the known hours of incomplete members count."""
    values, hours = np.concatenate([v for _, v, _ in cases]), np.concatenate([h for _, _, h in cases])
    share = np.concatenate([np.full(len(v), weight / len(v)) for weight, v, _ in cases])
    used = share > 0.0
    quantiles = metrics.weighted_quantiles(values[used], share[used], QUANTILES)
    return Moment(quantiles, metrics.weighted_quantiles(hours[used], share[used], (0.5,))[0])


def _case_outcome(case: JudgedCase) -> CaseRisk:
    return CaseRisk(
        name=case.name,
        weight=case.weight,
        comfort_failed=float(np.mean(case.failed.comfort)),
        hard_failed=float(np.mean(case.failed.hard)),
        missing_hours=case.missing_hours,
        cold_hour=_median(case.swept.left_below[case.failed.cold]),
        hot_hour=_median(case.swept.left_above[case.failed.warm]),
    )


def _median(hours: Array) -> float | None:
    return float(np.median(hours)) if len(hours) else None
