"""What a count says: an estimate, how sure it is, and the number that is safe to rely on."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from ..defaults import CONFIDENCE, STORED_CONFIDENCE
from ..quantiles import STORED_Z, z_of

Bound = Callable[[float], float]  # one-sided confidence -> animals
NOTHING_AT_ALL = 0.5  # animals; stands for a bound of zero where a logarithm is needed, and rounds down to none


@dataclass(frozen=True)
class Count:
    """One count of one tub and stage, as its method sees it; all numbers in animals.

    `lower` is the one-sided bound at `confidence`, `interval` the two-sided one. `log_sd` is the spread on the natural
    log scale that gives the one-sided 95 % bound: ln(estimate / lower95) / 1.645. Where the data do not determine a
    value it is None and a note says why. `steps` is the computation in words. `floor` animals were in the hand.
    `bound_at` is the method's own lower bound at any one-sided confidence; ask `lower_at`.
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
    taken_since: int = 0  # animals already gone that the estimate still holds (only after a sale)
    bound_at: Bound | None = field(default=None, compare=False, repr=False)

    def lower_at(self, confidence: float) -> float:
        """Return the lower bound in animals at a one-sided confidence. Raises ValueError where there is none."""
        if self.bound_at is None:
            raise ValueError("This count has no lower bound, so nothing can rest on it. Count in another way.")
        return self.bound_at(confidence)


@dataclass(frozen=True)
class Own:
    """What a method says by itself, before the shared error: bounds as functions of the one-sided confidence.

    `floor` is a number of animals that were in the hand, so no error of any kind can take it away.
    """

    estimate: float
    standard_error: float | None
    below: Bound | None
    above: Bound | None
    floor: float = 0.0


@dataclass(frozen=True)
class Asked:
    """What the caller wants of every method: confidence and the shared error on the log scale."""

    confidence: float
    shared_sd: float


def as_count(
    method: str, own: Own, asked: Asked, notes: tuple[str, ...] = (), steps: tuple[str, ...] = (), taken_since: int = 0
) -> Count:
    """Return the Count of an estimate with the shared error added to its own error, in quadrature on the log scale."""
    if own.estimate <= 0:
        figures = (0.0, None, 0.0, None, notes, 0.0, asked.confidence, asked.shared_sd, steps)
        return Count(method, *figures, bound_at=lambda level: 0.0)
    lower = _bound(own, asked, asked.confidence, -1)
    two_sided = (1 + asked.confidence) / 2
    low, high = _bound(own, asked, two_sided, -1), _bound(own, asked, two_sided, +1)
    return Count(
        method=method,
        estimate=own.estimate,
        standard_error=own.standard_error,
        lower=lower,
        interval=None if low is None or high is None else (low, high),
        notes=notes,
        log_sd=None if lower is None else spread_to(own.estimate, _bound(own, asked, STORED_CONFIDENCE, -1) or 0.0),
        confidence=asked.confidence,
        shared_sd=asked.shared_sd,
        steps=(*steps, *_shared_step(own, asked, lower)),
        floor=own.floor,
        taken_since=taken_since,
        bound_at=None if lower is None else lambda level: _bound(own, asked, level, -1) or 0.0,
    )


def spread_to(estimate: float, lower95: float) -> float:
    """Return the log-scale spread that puts the one-sided 95 % bound of a log-normal at `lower95` (both animals)."""
    return max(0.0, math.log(estimate / max(lower95, NOTHING_AT_ALL)) / STORED_Z)


def log_sd_of(count: Count) -> float:
    """Return what is stored of a count: ln(estimate / lower95) / 1.645, shared error included.

    Raises ValueError when the count does not determine it.
    """
    if count.log_sd is None:
        raise ValueError("This count has no lower bound, so nothing can rest on it. Count in another way.")
    return count.log_sd


def _bound(own: Own, asked: Asked, confidence: float, side: int) -> float | None:
    edge = own.below if side < 0 else own.above
    if not asked.shared_sd:  # the method's own figure, untouched by a logarithm and back
        return None if edge is None else max(own.floor, edge(confidence))
    shared = z_of(confidence) * asked.shared_sd
    at = own.estimate if edge is None else edge(confidence)
    apart = math.inf if at <= 0 else math.hypot(max(0.0, side * math.log(at / own.estimate)), shared)
    return max(own.floor, own.estimate * math.exp(side * apart))


def _shared_step(own: Own, asked: Asked, lower: float | None) -> tuple[str, ...]:
    if lower is None:
        return ()
    how = f"One-sided {asked.confidence:.0%} lower bound: {lower:.1f} animals"
    if not asked.shared_sd:
        return (f"{how}, by the method alone.",)
    if lower <= own.floor:
        return (f"{how}: those were in the hand, so no error takes them away.",)
    return (
        f"{how}, with a shared error of {asked.shared_sd:.2f} on the log scale that counting again does not reduce.",
    )


def working(count: Count) -> tuple[str, ...]:
    """Return how a count was computed, as sentences for the page; what to beware of comes last."""
    return (*count.steps, *count.notes)
