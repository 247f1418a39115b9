"""What risk a kit runs: every delay case and member simulated, each failed, fine or unknown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import reading
from .kit import Kit
from .members import Draws
from .reading import Extremes
from .simulate import inside
from .verdict import GO, Limits, Odds, Tolerance, decide

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

QUANTILES = (0.05, 0.5, 0.95)
WEIGHTS_ADD_UP_WITHIN = 1e-6


@dataclass(frozen=True)
class AmbientCase:
    """One delay case: its weight and what surrounds the box in each member.

    `ambient_c` (hours + 1, N) in degC at whole hours, NaN where the forecast has nothing; `film_by_hour` names one of
    `box.FILMS` for each of the hours, or None for the box's own.
    """

    name: str
    weight: float
    ambient_c: Array
    film_by_hour: tuple[str, ...] | None = None


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
    missing_hours: tuple[int, ...]
    cold_hour: float | None  # median hour at which failing members first break the low side; None: none do
    hot_hour: float | None


@dataclass(frozen=True)
class Outcome:
    """The answer to one kit: verdict, odds, extremes, and what is missing."""

    verdict: str
    comfort: Odds
    hard: Odds
    too_cold: float
    too_warm: float
    coldest: Moment | None
    warmest: Moment | None
    hours_below: float  # weighted mean over members
    hours_above: float
    degree_hours_below: float
    degree_hours_above: float
    missing_hours: tuple[int, ...]
    stalled: float  # weight of members in whose box a heat pack freezes
    cases: tuple[CaseOutcome, ...]
    curve: Band


@dataclass(frozen=True)
class _Members:
    """All members of one case after simulation; `known` is the last whole hour before a missing one."""

    hour: Array
    payload_c: Array  # (M, N), NaN from a missing hour on
    complete: Flags
    stalled: Flags
    comfort_failed: Flags
    hard_failed: Flags
    hours_below: Array
    hours_above: Array
    too_cold: Flags
    too_warm: Flags
    extremes: Extremes


def try_kit(
    kit: Kit,
    cases: Sequence[AmbientCase],
    limits: Limits,
    tolerance: Tolerance,
    *,
    start_c: float,
    draws: Draws | None,
) -> Outcome:
    """Return the outcome of one kit over all delay cases.

    A member fails comfort when its hours outside the band exceed the allowance, and the hard limits when the payload
    is ever beyond them. With a missing hour it is unknown unless it has failed before that hour. `draws` give each
    member its leak, pack energy and start; None takes the kit as it is. Raises ValueError where the weights do not add
    up to 1 or a case has more members than the draws.
    """
    _refuse_bad_cases(cases, draws)
    simulated = [_simulate(kit, case, limits, start_c, draws) for case in cases]
    weights = [case.weight for case in cases]
    comfort = _odds(weights, [(m.comfort_failed, m.complete) for m in simulated])
    hard = _odds(weights, [(m.hard_failed, m.complete) for m in simulated])
    rows = [_case_outcome(case, m, limits) for case, m in zip(cases, simulated, strict=True)]

    def mean(of: Iterable[Array | Flags]) -> float:
        return float(sum(weight * float(np.mean(values)) for weight, values in zip(weights, of, strict=True)))

    below = [reading.degree_hours_below(m.hour, m.payload_c, limits.low_c) for m in simulated]
    above = [reading.degree_hours_above(m.hour, m.payload_c, limits.high_c) for m in simulated]
    return Outcome(
        verdict=decide(comfort, hard, tolerance),
        comfort=comfort,
        hard=hard,
        too_cold=mean(m.too_cold for m in simulated),
        too_warm=mean(m.too_warm for m in simulated),
        coldest=_moment(weights, [(m.extremes.coldest_c, m.extremes.coldest_hour) for m in simulated]),
        warmest=_moment(weights, [(m.extremes.warmest_c, m.extremes.warmest_hour) for m in simulated]),
        hours_below=mean(m.hours_below for m in simulated),
        hours_above=mean(m.hours_above for m in simulated),
        degree_hours_below=mean(below),
        degree_hours_above=mean(above),
        missing_hours=tuple(sorted({hour for row in rows for hour in row.missing_hours})),
        stalled=mean(m.stalled for m in simulated),
        cases=tuple(rows),
        curve=_band(simulated[0]),
    )


def _refuse_bad_cases(cases: Sequence[AmbientCase], draws: Draws | None) -> None:
    if not cases:
        raise ValueError("There is no delay case, but at least one is needed.")
    total = sum(case.weight for case in cases)
    if abs(total - 1.0) > WEIGHTS_ADD_UP_WITHIN or min(case.weight for case in cases) < 0.0:
        raise ValueError(f"The weights of the delay cases add up to {total:g}, but they must add up to 1.")
    for case in cases:
        if draws is not None and case.ambient_c.shape[1] > draws.members:
            raise ValueError(f"Case {case.name} has {case.ambient_c.shape[1]} members, but only {draws.members} are drawn.")


def _simulate(kit: Kit, case: AmbientCase, limits: Limits, start_c: float, draws: Draws | None) -> _Members:
    """Simulate one case; from the hour before a missing one the payload is NaN, since straight lines end there."""
    members = case.ambient_c.shape[1]
    drawn = None if draws is None else draws.first(members)
    missing = np.isnan(case.ambient_c)
    complete = ~missing.any(axis=0)
    found = inside(
        kit,
        case.ambient_c if complete.all() else _held(case.ambient_c, missing),
        start_c=start_c if drawn is None else start_c + drawn.start_offset_k(),
        leak=None if drawn is None else drawn.leak_factor(),
        pack_energy=None if drawn is None else drawn.pack_energy(),
        film_by_hour=case.film_by_hour,
    )
    payload = found.payload_c
    if not complete.all():
        last = np.where(complete, len(missing) - 1, missing.argmax(axis=0) - 1)
        payload = np.where(found.hour[:, None] <= np.maximum(last, 0), payload, np.nan)
    return judge(found.hour, payload, complete, found.stalled, limits)


def _held(ambient_c: Array, missing: Flags) -> Array:
    """Return the weather with gaps filled by anything finite: what follows a gap is not looked at."""
    return np.where(missing, 0.0, ambient_c)


def judge(hour: Array, payload_c: Array, complete: Flags, stalled: Flags, limits: Limits) -> _Members:
    """Return which members fail what, from payload curves (M, N) that are NaN from a missing hour on."""
    below = reading.hours_below(hour, payload_c, limits.low_c)
    above = reading.hours_above(hour, payload_c, limits.high_c)
    found = reading.extremes(hour, payload_c)
    hard_cold, hard_warm = found.coldest_c < limits.hard_low_c, found.warmest_c > limits.hard_high_c
    comfort_failed = below + above > limits.hours_allowed
    return _Members(
        hour=hour,
        payload_c=payload_c,
        complete=complete,
        stalled=stalled,
        comfort_failed=comfort_failed,
        hard_failed=hard_cold | hard_warm,
        hours_below=below,
        hours_above=above,
        too_cold=hard_cold | comfort_failed & (below > 0.0),
        too_warm=hard_warm | comfort_failed & (above > 0.0),
        extremes=found,
    )


def _odds(weights: Sequence[float], members: Sequence[tuple[Flags, Flags]]) -> Odds:
    """Return the weight of failures; the standard error is that of a stratified share."""
    failed, open_, variance = 0.0, 0.0, 0.0
    for weight, (broken, complete) in zip(weights, members, strict=True):
        share = float(np.mean(broken))
        failed += weight * share
        open_ += weight * float(np.mean(~complete & ~broken))
        variance += weight**2 * share * (1.0 - share) / len(broken)
    return Odds(failed, failed + open_, float(np.sqrt(variance)))


def _moment(weights: Sequence[float], found: Sequence[tuple[Array, Array]]) -> Moment | None:
    """Return quantiles over all cases and members, by weight; what is known of incomplete members counts."""
    values = np.concatenate([value for value, _ in found])
    hours = np.concatenate([hour for _, hour in found])
    share = np.concatenate([np.full(len(v), w / len(v)) for w, (v, _) in zip(weights, found, strict=True)])
    known = np.isfinite(values) & (share > 0.0)
    if not known.any():
        return None
    quantiles = reading.weighted_quantiles(values[known], share[known], QUANTILES)
    return Moment(quantiles, reading.weighted_quantiles(hours[known], share[known], (0.5,))[0])


def _case_outcome(case: AmbientCase, members: _Members, limits: Limits) -> CaseOutcome:
    unknown = ~members.complete
    cold = members.payload_c < limits.low_c
    warm = members.payload_c > limits.high_c
    return CaseOutcome(
        name=case.name,
        weight=case.weight,
        comfort_failed=float(np.mean(members.comfort_failed)),
        comfort_unknown=float(np.mean(unknown & ~members.comfort_failed)),
        hard_failed=float(np.mean(members.hard_failed)),
        hard_unknown=float(np.mean(unknown & ~members.hard_failed)),
        missing_hours=tuple(int(hour) for hour in np.flatnonzero(np.isnan(case.ambient_c).any(axis=1))),
        cold_hour=_first_hour(members.hour, cold, members.too_cold),
        hot_hour=_first_hour(members.hour, warm, members.too_warm),
    )


def _first_hour(hour: Array, broken: Flags, who: Flags) -> float | None:
    """Return the median hour at which the failing members first leave the band."""
    chosen = broken[:, who]
    chosen = chosen[:, chosen.any(axis=0)]
    return float(np.median(hour[chosen.argmax(axis=0)])) if chosen.shape[1] else None


def _band(members: _Members) -> Band:
    """Return the quantiles at whole hours; an hour that any member lacks is unknown."""
    per_hour = max(1, round(1.0 / float(members.hour[1] - members.hour[0])))
    hours, rows = members.hour[::per_hour], members.payload_c[::per_hour]
    low, middle, high = np.quantile(rows, QUANTILES, axis=1)
    return Band(*(tuple(float(one) for one in row) for row in (hours, low, middle, high)))


@dataclass(frozen=True)
class Offer:
    """A kit that could be used: its name, what it costs, and what came of trying it."""

    name: str
    cost: float
    outcome: Outcome


def calm(outcome: Outcome) -> tuple[float, float, float]:
    """Return how troubled an outcome is, least first: odds of hard limits, of comfort, then the swing in K."""
    swing = 0.0
    if outcome.coldest is not None and outcome.warmest is not None:
        swing = outcome.warmest.quantiles_c[-1] - outcome.coldest.quantiles_c[0]
    return outcome.hard.failed_or_unknown, outcome.comfort.failed_or_unknown, swing


def best_of(offers: Sequence[Offer]) -> Offer | None:
    """Return the cheapest kit whose verdict is go, ties to the calmer one; None when none is."""
    acceptable = [offer for offer in offers if offer.outcome.verdict == GO]
    return min(acceptable, key=lambda offer: (offer.cost, calm(offer.outcome)), default=None)
