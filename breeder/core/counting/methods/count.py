"""The result of a count: an estimate, its uncertainty, and the number that is safe to rely on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from ..defaults import CONFIDENCE, STORED_CONFIDENCE
from ..quantiles import STORED_Z, normal_quantile

Bound = Callable[[float], float]  # one-sided confidence -> animals
LEAST_BOUND = 0.5  # animals; replaces a bound of zero where a logarithm is needed, and rounds down to none


@dataclass(frozen=True)
class Count:
    """One count of one tub and stage by its method; all numbers in animals.

    `lower` is the one-sided bound at `confidence`, `interval` the two-sided one. `log_sd` is the spread on the natural
    log scale that gives the one-sided 95 % bound: ln(estimate / lower95) / 1.645. A value that the data do not
    determine is None, and a note says why. `steps` is the computation in words. `floor` animals were in the hand.
    `bound_at` is the method's lower bound at any one-sided confidence; call `lower_at` for it.
    """

    method: str
    estimate: float | None
    standard_error: float | None
    lower: float | None
    interval: tuple[float, float] | None
    notes: tuple[str, ...] = ()
    log_sd: float | None = None
    confidence: float = CONFIDENCE
    shared_sd: float = 0.0
    steps: tuple[str, ...] = ()
    floor: float = 0.0
    taken_since: int = 0  # animals already sold that the estimate still includes (only after a sale)
    bound_at: Bound | None = field(default=None, compare=False, repr=False)

    def lower_at(self, confidence: float) -> float:
        """Return the lower bound in animals at a one-sided confidence. Raises ValueError where there is none."""
        if self.bound_at is None:
            raise ValueError("This count has no lower bound, so nothing can rest on it. Count in another way.")
        return self.bound_at(confidence)


@dataclass(frozen=True)
class MethodEstimate:
    """A method's estimate before the shared error is added: its bounds are functions of the one-sided confidence.

    `floor` animals were in the hand, so no error can take them away.
    """

    estimate: float
    standard_error: float | None
    below: Bound | None
    above: Bound | None
    floor: float = 0.0


@dataclass(frozen=True)
class CountOptions:
    """The options of every method: one-sided confidence and shared error on the log scale."""

    confidence: float
    shared_sd: float


def as_count(
    method: str,
    result: MethodEstimate,
    asked: CountOptions,
    notes: tuple[str, ...] = (),
    steps: tuple[str, ...] = (),
    taken_since: int = 0,
) -> Count:
    """Return the Count of an estimate, with the shared error added in quadrature on the log scale."""
    if result.estimate <= 0:
        figures = (0.0, None, 0.0, None, notes, 0.0, asked.confidence, asked.shared_sd, steps)
        return Count(method, *figures, bound_at=lambda level: 0.0)
    lower = _bound(result, asked, asked.confidence, -1)
    two_sided = (1 + asked.confidence) / 2
    lower95 = _bound(result, asked, STORED_CONFIDENCE, -1)
    low, high = _bound(result, asked, two_sided, -1), _bound(result, asked, two_sided, +1)
    return Count(
        method=method,
        estimate=result.estimate,
        standard_error=result.standard_error,
        lower=lower,
        interval=None if low is None or high is None else (low, high),
        notes=notes,
        log_sd=None if lower is None else spread_from_bound(result.estimate, lower95 or 0.0),
        confidence=asked.confidence,
        shared_sd=asked.shared_sd,
        steps=(*steps, *_shared_step(result, asked, lower)),
        floor=result.floor,
        taken_since=taken_since,
        bound_at=None if lower is None else lambda level: _bound(result, asked, level, -1) or 0.0,
    )


def spread_from_bound(estimate: float, lower95: float) -> float:
    """Return the log-scale spread that puts the one-sided 95 % bound of a log-normal at `lower95` (both animals)."""
    return max(0.0, math.log(estimate / max(lower95, LEAST_BOUND)) / STORED_Z)


def stored_log_sd(count: Count) -> float:
    """Return the log-scale spread to store for a count: ln(estimate / lower95) / 1.645, shared error included.

    Raises ValueError when the count has no lower bound.
    """
    if count.log_sd is None:
        raise ValueError("This count has no lower bound, so nothing can rest on it. Count in another way.")
    return count.log_sd


def _bound(result: MethodEstimate, asked: CountOptions, confidence: float, side: int) -> float | None:
    edge = result.below if side < 0 else result.above
    if not asked.shared_sd:  # keep the method's exact figure: a logarithm and back would round it
        return None if edge is None else max(result.floor, edge(confidence))
    shared = normal_quantile(confidence) * asked.shared_sd
    at = result.estimate if edge is None else edge(confidence)
    reach = math.inf if at <= 0 else math.hypot(max(0.0, side * math.log(at / result.estimate)), shared)
    return max(result.floor, result.estimate * math.exp(side * reach))


def _shared_step(result: MethodEstimate, asked: CountOptions, lower: float | None) -> tuple[str, ...]:
    if lower is None:
        return ()
    how = f"One-sided {asked.confidence:.0%} lower bound: {lower:.1f} animals"
    if not asked.shared_sd:
        return (f"{how}, by the method alone.",)
    if lower <= result.floor:
        return (f"{how}: those were in the hand, so no error takes them away.",)
    return (
        f"{how}, with a shared error of {asked.shared_sd:.2f} on the log scale that counting again does not reduce.",
    )


def working_text(count: Count) -> tuple[str, ...]:
    """Return how a count was computed, as sentences for the page; the warnings come last."""
    return (*count.steps, *count.notes)
