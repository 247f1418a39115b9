"""What the book believes of one tub and stage: X + moved, how it ages, and its lower bound."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from breeder.core.counting.defaults import STORED_CONFIDENCE
from breeder.core.counting.quantiles import STORED_Z, months_between, whole_above, whole_below, z_of

from .events import Ageing
from .reach import Reach, multiple_at


@dataclass(frozen=True)
class Animals:
    """Log-normal animals: median `middle`, spread `log_sd` of which `shared_sd` is shared, as counted on `since`.

    `cap` is the last count's own estimate, which no bound may pass, and `floor` the animals that were in the hand,
    which it may not fall below. `reach` is how the bound reaches at other confidences than 95 %. Read on a later day,
    `left` is the share still there and `waited` the variance that the wait has added; both follow from `since` in one
    step, whenever and however often they are asked for.
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
        """The median as it reads on the day."""
        return self.middle * self.left

    @property
    def spread(self) -> float:
        """The spread as it reads on the day."""
        return math.sqrt(self.log_sd**2 + self.waited)

    def aged(self, on: date, ageing: Ageing, stage: str) -> Animals:
        """Return the same animals as they read on a later day: fewer, and less sure."""
        months = months_between(self.since, on)
        waited = ageing.widening_per_month * months if self.middle else 0.0
        return replace(self, left=ageing.left(stage, months), waited=waited)

    def low(self, confidence: float, *, shared_only: bool = False) -> float:
        """Return the bound at a one-sided confidence, not above the cap and not below the animals in the hand."""
        z = z_of(confidence)
        if shared_only:
            return min(self.likely * math.exp(-z * self.shared_sd), self._most)
        reach = STORED_Z * self.log_sd * multiple_at(self.reach, confidence) if self.log_sd else 0.0
        at = self.likely * math.exp(-math.sqrt(reach**2 + z**2 * self.waited))
        in_hand = self.floor * self.left * math.exp(-z * math.sqrt(self.waited))
        return min(max(at, in_hand), self._most)

    @property
    def _most(self) -> float:
        return math.inf if self.cap is None else self.cap * self.left


@dataclass(frozen=True)
class Gone:
    """About so many animals that left: the bound loses the many that it may have been."""

    middle: float
    log_sd: float

    def high(self, confidence: float) -> float:
        return self.middle * math.exp(z_of(confidence) * self.log_sd)


@dataclass(frozen=True)
class Part:
    """A share of what another tub held when it was tipped over; a whole tub has share 1 and spread 0."""

    share: float
    log_sd: float
    of: Belief

    def doubt(self, confidence: float) -> float:
        """Return what the doubt about the share leaves of it."""
        return math.exp(-z_of(confidence) * self.log_sd)


Source = Animals | Gone | Part


@dataclass(frozen=True)
class Used:
    """What a count was joined with, and how: enough to work it out again."""

    rule: str  # first, exact, fused, replaced
    prior_middle: float | None
    prior_log_sd: float | None
    prior_shared_sd: float | None
    count_estimate: float
    count_log_sd: float
    count_shared_sd: float
    gain: float = 1.0  # share of the way from the prior to the count, on the log scale
    z: float | None = None  # how far apart the two were, in standard deviations
    constants: dict[str, float] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Return the record for a JSON column."""
        return dict(vars(self))


@dataclass(frozen=True)
class Belief:
    """X + moved for one tub and stage, as of its last event; ask `lower` for what is safe to rely on.

    `sources` make up X: as a rule one log-normal from the counts, more after tubs were tipped together. Their errors
    are taken to go together (one eye, one season), so quantiles add. `moved` is the whole number added or taken since.
    `taken` for people since the last count, `added` (or died, or moved out) since, and `at_count`, the middle right
    after that count, decide what may still go; they are passed on by share when a tub is tipped, so need not be whole.
    """

    sources: tuple[Source, ...]
    begun_on: date
    moved: int = 0
    taken: float = 0.0
    counted_on: date | None = None
    used: Used | None = None
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
        """Spread of X on the log scale; for several sources the one that gives their joint 95 % bound."""
        if len(self.sources) == 1 and isinstance(self.sources[0], Animals):
            return self.sources[0].spread
        return spread_between(self.middle, low_of(self))

    @property
    def shared_sd(self) -> float:
        """The part of the spread that repetition does not reduce, on the log scale."""
        return spread_between(self.middle, low_of(self, shared_only=True))

    @property
    def cap(self) -> float | None:
        """The last count's own estimate, where one count is all there is."""
        return self.sources[0].cap if len(self.sources) == 1 and isinstance(self.sources[0], Animals) else None


def in_days(belief: Belief, day: Callable[[date], date]) -> Belief:
    """Return the belief with each of its moments as the calendar `day` that it was where it is read.

    A ledger of moments replays alike everywhere; how many days ago one was depends on the reader's time zone.
    """
    return Belief(
        tuple(_source_in_days(source, day) for source in belief.sources),
        day(belief.begun_on),
        belief.moved,
        belief.taken,
        None if belief.counted_on is None else day(belief.counted_on),
        belief.used,
    )


def _source_in_days(source: Source, day: Callable[[date], date]) -> Source:
    if isinstance(source, Animals):
        return Animals(source.middle, source.log_sd, source.shared_sd, day(source.since), source.cap)
    return replace(source, of=in_days(source.of, day)) if isinstance(source, Part) else source


def aged(belief: Belief, on: date, ageing: Ageing, stage: str) -> Belief:
    """Return the belief as it reads on a later day; `moved` is whole animals and does not age."""
    sources = tuple(_aged(source, on, ageing, stage) for source in belief.sources)
    return Belief(sources, belief.begun_on, belief.moved, belief.taken, belief.counted_on, belief.used)


def lower(belief: Belief, on: date, confidence: float, ageing: Ageing, stage: str) -> int:
    """Return ⌊quantile of X, aged⌋ + moved at a one-sided `confidence`, never below 0: what is safe to rely on."""
    return bound(aged(belief, on, ageing, stage), confidence)


def bound(belief: Belief, confidence: float) -> int:
    """Return the whole animals that are safe to rely on, as of the day that the sources read on."""
    return max(0, sum(_whole(source, confidence) for source in belief.sources) + belief.moved)


def is_stale(belief: Belief, on: date, ageing: Ageing) -> bool:
    """Return whether the last count is too old for anything to be sold on it."""
    return months_between(belief.known_since, on) > ageing.stale_after_months


def low_of(belief: Belief, confidence: float = STORED_CONFIDENCE, *, shared_only: bool = False) -> float:
    """Return the quantile of X that `bound` rounds, not rounded and without `moved`; it may fall below 0."""
    return sum(_low(source, confidence, shared_only) for source in belief.sources)


def spread_between(middle: float, low: float) -> float:
    """Return the log-scale spread of a log-normal with this median and one-sided 95 % bound, both in animals.

    A bound of none or less, after much was taken, has no logarithm; a spread that says next to nothing stands for it.
    """
    if middle <= 0:
        return 0.0
    return min(WIDEST, math.log(middle / min(middle, low)) / STORED_Z) if low > 0 else WIDEST


WIDEST = 5.0  # log scale: a factor of 150 either way


def _middle(source: Source) -> float:
    if isinstance(source, Part):
        return source.share * source.of.expected
    return -source.middle if isinstance(source, Gone) else source.likely


def _low(source: Source, confidence: float, shared_only: bool) -> float:
    if isinstance(source, Animals):
        return source.low(confidence, shared_only=shared_only)
    if isinstance(source, Gone):
        return -(source.middle if shared_only else source.high(confidence))
    inner = max(0.0, low_of(source.of, confidence, shared_only=shared_only) + source.of.moved)
    return source.share * (1.0 if shared_only else source.doubt(confidence)) * inner


def _whole(source: Source, confidence: float) -> int:
    if isinstance(source, Animals):
        return whole_below(source.low(confidence))
    if isinstance(source, Gone):
        return -whole_above(source.high(confidence))
    return whole_below(source.share * source.doubt(confidence) * bound(source.of, confidence))


def _aged(source: Source, on: date, ageing: Ageing, stage: str) -> Source:
    if isinstance(source, Animals):
        return source.aged(on, ageing, stage)
    return replace(source, of=aged(source.of, on, ageing, stage)) if isinstance(source, Part) else source
