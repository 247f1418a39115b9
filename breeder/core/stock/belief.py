"""The belief about one tub and stage: X + moved, how it ages, and its lower bound."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from breeder.core.counting.defaults import STORED_CONFIDENCE
from breeder.core.counting.quantiles import STORED_Z, months_between, normal_quantile, whole_above, whole_below

from .events import Ageing
from .reach import Reach, reach_multiple


@dataclass(frozen=True)
class LogNormalAnimals:
    """Log-normal animals: median `middle`, spread `log_sd` of which `shared_sd` is shared, as counted on `since`.

    The bound never passes `cap`, the estimate of the last count, and never falls below `floor`, the animals that were
    in the hand. `reach` gives the bound at confidences other than 95 %. On a later day `left` is the share still there
    and `waited` the variance that the wait has added. Both are computed from `since` in one step, so reading them often
    changes nothing.
    """

    middle: float
    log_sd: float
    shared_sd: float
    since: date
    cap: float | None = None
    floor: float = 0.0
    reach: Reach = ()
    left: float = 1.0
    waited: float = 0.0

    @property
    def likely(self) -> float:
        """The median on the day of reading."""
        return self.middle * self.left

    @property
    def spread(self) -> float:
        """The log-scale spread on the day of reading."""
        return math.sqrt(self.log_sd**2 + self.waited)

    def aged(self, on: date, ageing: Ageing, stage: str) -> LogNormalAnimals:
        """Return the same animals on a later day: fewer, and less certain."""
        months = months_between(self.since, on)
        waited = ageing.widening_per_month * months if self.middle else 0.0
        return replace(self, left=ageing.left(stage, months), waited=waited)

    def low(self, confidence: float, *, shared_only: bool = False) -> float:
        """Return the bound at a one-sided confidence, at most the cap and at least the animals in the hand."""
        z = normal_quantile(confidence)
        if shared_only:
            return min(self.likely * math.exp(-z * self.shared_sd), self._most)
        reach = STORED_Z * self.log_sd * reach_multiple(self.reach, confidence) if self.log_sd else 0.0
        at = self.likely * math.exp(-math.sqrt(reach**2 + z**2 * self.waited))
        in_hand = self.floor * self.left * math.exp(-z * math.sqrt(self.waited))
        return min(max(at, in_hand), self._most)

    @property
    def _most(self) -> float:
        return math.inf if self.cap is None else self.cap * self.left


@dataclass(frozen=True)
class ApproximateLoss:
    """An approximate number of animals that left: the bound loses the most that it may have been."""

    middle: float
    log_sd: float

    def high(self, confidence: float) -> float:
        return self.middle * math.exp(normal_quantile(confidence) * self.log_sd)


@dataclass(frozen=True)
class TubShare:
    """The share of a tub that was tipped out: `whole` is the belief about that tub, `log_sd` the share's spread.

    A tub that was tipped out entirely has share 1 and spread 0.
    """

    share: float
    log_sd: float
    whole: StockBelief

    def doubt(self, confidence: float) -> float:
        """Return the factor that the doubt about the share takes off the bound."""
        return math.exp(-normal_quantile(confidence) * self.log_sd)


Source = LogNormalAnimals | ApproximateLoss | TubShare


@dataclass(frozen=True)
class CountUpdate:
    """How a count was joined with the belief before it, with enough figures to repeat the computation."""

    rule: str  # first, exact, fused or replaced
    prior_middle: float | None
    prior_log_sd: float | None
    prior_shared_sd: float | None
    count_estimate: float
    count_log_sd: float
    count_shared_sd: float
    gain: float = 1.0  # weight of the count against the prior, on the log scale
    z: float | None = None  # how far apart the two were, in standard deviations
    constants: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the record for a JSON column."""
        return dict(vars(self))


@dataclass(frozen=True)
class StockBelief:
    """X + moved for one tub and stage, as of its last event; call `lower` for the number that is safe to rely on.

    X is the sum of the `sources`: usually one log-normal from the counts, more after tubs were merged. Their errors are
    taken to go together (one eye, one season), so quantiles add. `moved` is the whole number added or taken since.
    Three figures decide what may still be harvested: `taken` for people since the last count, `added` since (less the
    animals that died or moved out), and `at_count`, the median right after that count. A split passes them on by share,
    so they need not be whole.
    """

    sources: tuple[Source, ...]
    begun_on: date
    moved: int = 0
    taken: float = 0.0
    counted_on: date | None = None
    used: CountUpdate | None = None
    added: float = 0.0
    at_count: float = 0.0

    @property
    def known_since(self) -> date:
        """The last count, or the first event of a tub that was never counted."""
        return self.counted_on or self.begun_on

    @property
    def middle(self) -> float:
        """Median of X, in animals, without `moved`."""
        return max(0.0, sum(_middle(source) for source in self.sources))

    @property
    def expected(self) -> float:
        """The likely number: median of X + moved, at least 0."""
        return max(0.0, sum(_middle(source) for source in self.sources) + self.moved)

    @property
    def log_sd(self) -> float:
        """Spread of X on the log scale; for several sources, the spread that gives their joint 95 % bound."""
        if len(self.sources) == 1 and isinstance(self.sources[0], LogNormalAnimals):
            return self.sources[0].spread
        return spread_from_median(self.middle, unrounded_bound(self))

    @property
    def shared_sd(self) -> float:
        """The part of the spread that counting again does not reduce, on the log scale."""
        return spread_from_median(self.middle, unrounded_bound(self, shared_only=True))

    @property
    def cap(self) -> float | None:
        """The estimate of the last count, if X comes from that count alone."""
        return self.sources[0].cap if len(self.sources) == 1 and isinstance(self.sources[0], LogNormalAnimals) else None


def with_calendar_days(belief: StockBelief, day: Callable[[date], date]) -> StockBelief:
    """Return the belief with every moment turned into a calendar day by `day`.

    A ledger of moments replays the same everywhere, but how many days ago an event was depends on the reader's time
    zone.
    """
    return replace(
        belief,
        sources=tuple(_source_in_days(source, day) for source in belief.sources),
        begun_on=day(belief.begun_on),
        counted_on=None if belief.counted_on is None else day(belief.counted_on),
    )


def _source_in_days(source: Source, day: Callable[[date], date]) -> Source:
    if isinstance(source, LogNormalAnimals):
        return replace(source, since=day(source.since))
    return replace(source, whole=with_calendar_days(source.whole, day)) if isinstance(source, TubShare) else source


def aged(belief: StockBelief, on: date, ageing: Ageing, stage: str) -> StockBelief:
    """Return the belief on a later day; `moved` is a whole number of animals and does not age."""
    return replace(belief, sources=tuple(_aged(source, on, ageing, stage) for source in belief.sources))


def lower(belief: StockBelief, on: date, confidence: float, ageing: Ageing, stage: str) -> int:
    """Return ⌊quantile of X, aged⌋ + moved at a one-sided `confidence`, at least 0: the safe number."""
    return bound(aged(belief, on, ageing, stage), confidence)


def bound(belief: StockBelief, confidence: float) -> int:
    """Return the whole number that is safe to rely on, on the day that the sources were aged to."""
    return max(0, sum(_whole(source, confidence) for source in belief.sources) + belief.moved)


def is_stale(belief: StockBelief, on: date, ageing: Ageing) -> bool:
    """Return whether the last count is too old for anything to be sold on it."""
    return months_between(belief.known_since, on) > ageing.stale_after_months


def unrounded_bound(belief: StockBelief, confidence: float = STORED_CONFIDENCE, *, shared_only: bool = False) -> float:
    """Return the quantile of X that `bound` rounds, not rounded and without `moved`; it may fall below 0."""
    return sum(_low(source, confidence, shared_only) for source in belief.sources)


def spread_from_median(middle: float, low: float) -> float:
    """Return the log-scale spread of a log-normal with this median and one-sided 95 % bound, both in animals.

    After many animals were taken the bound may be 0 or less, which has no logarithm; the result is then `WIDEST`.
    """
    if middle <= 0:
        return 0.0
    return min(WIDEST, math.log(middle / min(middle, low)) / STORED_Z) if low > 0 else WIDEST


WIDEST = 5.0  # log scale: a factor of 150 either way


def _middle(source: Source) -> float:
    if isinstance(source, TubShare):
        return source.share * source.whole.expected
    return -source.middle if isinstance(source, ApproximateLoss) else source.likely


def _low(source: Source, confidence: float, shared_only: bool) -> float:
    if isinstance(source, LogNormalAnimals):
        return source.low(confidence, shared_only=shared_only)
    if isinstance(source, ApproximateLoss):
        return -(source.middle if shared_only else source.high(confidence))
    inner = max(0.0, unrounded_bound(source.whole, confidence, shared_only=shared_only) + source.whole.moved)
    return source.share * (1.0 if shared_only else source.doubt(confidence)) * inner


def _whole(source: Source, confidence: float) -> int:
    if isinstance(source, LogNormalAnimals):
        return whole_below(source.low(confidence))
    if isinstance(source, ApproximateLoss):
        return -whole_above(source.high(confidence))
    return whole_below(source.share * source.doubt(confidence) * bound(source.whole, confidence))


def _aged(source: Source, on: date, ageing: Ageing, stage: str) -> Source:
    if isinstance(source, LogNormalAnimals):
        return source.aged(on, ageing, stage)
    return replace(source, whole=aged(source.whole, on, ageing, stage)) if isinstance(source, TubShare) else source
