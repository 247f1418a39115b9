"""Which tubs to count next: those whose doubt holds back the most sales or may hide a danger."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import scipy

from .defaults import CRASH_SHARE, DANGER_CHANCE, MOST_SUGGESTED_COUNTS
from .plurals import number_text


@dataclass(frozen=True)
class TubDoubt:
    """One tub and stage today: likely number, safe bound, spread on the log scale, and whether its count is too old."""

    ref: Any
    likely: float
    lower: int
    log_sd: float
    stale: bool = False


@dataclass(frozen=True)
class LineDoubt:
    """One stage of a line: the tubs that may be sold from, the number kept back, and the number promised.

    `needed` is the number that must be there (None: kept back + promised). `harvest_share` is the share that may be
    taken between two counts; None means no limit. `free` is what may be promised today; None means the sum of bounds.
    A line that is not `sold` loses no sales to doubt, but may still be in danger.
    """

    name: str  # sentences about the line begin with it
    tubs: tuple[TubDoubt, ...]
    kept_back: int
    promised: int = 0
    harvest_share: float | None = None
    free: int | None = None
    sold: bool = True
    needed: int | None = None

    @property
    def least(self) -> int:
        """The number below which the line is in danger."""
        return self.kept_back + self.promised if self.needed is None else self.needed

    @property
    def least_text(self) -> str:
        """What that number consists of, in words."""
        return "that stay and are promised" if self.promised else "that must stay"


@dataclass(frozen=True)
class NextCount:
    """A tub worth counting: the animals its doubt keeps unsold, the chance that its line is in danger, and why."""

    ref: Any
    line: str
    unsold: float
    danger: float
    why: str


def next_counts(lines: Iterable[LineDoubt], most: int = MOST_SUGGESTED_COUNTS) -> list[NextCount]:
    """Return at most `most` tubs: lines that may be in danger come first, then the most animals kept unsold."""
    wishes = [wish for line in lines for wish in _wishes(line)]
    worthwhile = [wish for wish in wishes if is_uncertain_danger(wish.danger) or wish.unsold >= 1]
    return sorted(worthwhile, key=lambda wish: (-_grade(wish.danger), -wish.unsold, str(wish.ref)))[:most]


def animals_kept_unsold(line: LineDoubt) -> float:
    """Return the animals that could likely be promised beyond what the bounds allow today."""
    if not line.sold:
        return 0.0
    spare = line.kept_back + line.promised
    held = sum(tub.likely for tub in line.tubs)
    likely = held - spare
    if line.harvest_share is not None:
        likely = min(likely, line.harvest_share * held - line.promised)
    safe = sum(0 if tub.stale else tub.lower for tub in line.tubs) - spare if line.free is None else line.free
    return max(0.0, max(0.0, likely) - max(0.0, safe))


def is_uncertain_danger(danger: float) -> bool:
    """Return whether a count would settle the danger: it is neither unlikely nor already certain."""
    return DANGER_CHANCE <= danger <= 1 - DANGER_CHANCE


def danger_chance(line: LineDoubt) -> float:
    """Return the chance that the line holds less than it needs.

    The tubs' errors are taken to go together, so their quantiles add. The chance belongs to the quantile at which they
    add up to the need.
    """
    need = line.least
    if not need:
        return 0.0

    def held(z: float) -> float:
        return sum(tub.likely * math.exp(z * tub.log_sd) for tub in line.tubs)

    low, high = -FARTHEST, FARTHEST
    if held(low) >= need:
        return 0.0
    if held(high) < need:
        return 1.0
    for _ in range(HALVINGS):
        half = (low + high) / 2
        low, high = (low, half) if held(half) >= need else (half, high)
    return float(scipy.special.ndtr(low))


FARTHEST = 8.0  # standard deviations
HALVINGS = 50
GRADES = 20  # dangers are ranked in twentieths; within a grade the unsold animals decide


def is_crash(believed: float, counted: float) -> bool:
    """Return whether a count is under half of what the book believed (both in animals, at the same moment)."""
    return counted < CRASH_SHARE * believed


def _wishes(line: LineDoubt) -> list[NextCount]:
    unsold, danger = animals_kept_unsold(line), danger_chance(line)
    doubts = [tub.likely - (0 if tub.stale else tub.lower) for tub in line.tubs]
    total = sum(doubts)
    shares = [doubt / total if total > 0 else 0.0 for doubt in doubts]
    return [
        NextCount(tub.ref, line.name, unsold * share, danger if share else 0.0, _why(tub, unsold * share, danger, line))
        for tub, share in zip(line.tubs, shares, strict=True)
    ]


def _why(tub: TubDoubt, unsold: float, danger: float, line: LineDoubt) -> str:
    if is_uncertain_danger(danger):
        return f"{line.name} may hold fewer than the {line.least} {line.least_text}: about {danger:.0%} likely."
    old = "Its count is too old to sell on. " if tub.stale else ""
    return f"{old}Doubt keeps about {number_text(round(unsold), 'animals')} from being sold."


def _grade(danger: float) -> int:
    return math.floor(danger * GRADES) if is_uncertain_danger(danger) else 0


def lines_in_danger(lines: Sequence[LineDoubt]) -> list[tuple[str, float]]:
    """Return the lines that may hold less than they need, each with its chance, the worst first."""
    chances = [(line.name, danger_chance(line)) for line in lines]
    return sorted((pair for pair in chances if pair[1] >= DANGER_CHANCE), key=lambda pair: -pair[1])
