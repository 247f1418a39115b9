"""What to count next: the tubs whose doubt keeps most animals from being sold, or hides a danger."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from scipy import special

from .defaults import CRASH_SHARE, DANGER_CHANCE, STORED_CONFIDENCE, TUBS_A_WEEK
from .quantiles import t_of


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
    """One stage of a line: the tubs that may be sold from, what stays, and what is promised."""

    name: str
    tubs: tuple[TubDoubt, ...]
    kept_back: int
    promised: int = 0


@dataclass(frozen=True)
class NextCount:
    """A tub worth counting: animals that its doubt keeps from being sold, chance of danger in its line, and why."""

    ref: Any
    line: str
    unsold: float
    danger: float
    why: str


def what_to_count(lines: Iterable[LineDoubt], most: int = TUBS_A_WEEK) -> list[NextCount]:
    """Return at most 25 tubs: those of lines that may be in danger first, then by animals that doubt keeps unsold."""
    found = [wish for line in lines for wish in _wishes(line)]
    hidden = [wish for wish in found if wish.danger >= DANGER_CHANCE or wish.unsold >= 1]
    return sorted(hidden, key=lambda wish: (-_grade(wish.danger), -wish.unsold, str(wish.ref)))[:most]


def unsold_by_doubt(line: LineDoubt) -> float:
    """Return the animals that could likely be promised beyond what the bounds allow today."""
    spare = line.kept_back + line.promised
    likely = sum(tub.likely for tub in line.tubs) - spare
    safe = sum(0 if tub.stale else tub.lower for tub in line.tubs) - spare
    return max(0.0, likely) - max(0.0, safe)


def chance_below(line: LineDoubt) -> float:
    """Return the chance that the line holds less than what stays and is promised.

    Errors go together, so the tubs' quantiles add: the chance is that of the quantile at which they add up to the need.
    """
    need = line.kept_back + line.promised
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
    return float(special.ndtr(low))


FARTHEST = 8.0  # standard deviations
HALVINGS = 50
GRADES = 20  # dangers are ranked in twentieths; within one the animals unsold decide


def portions_to_halve(portions: int, share_taken: float) -> int | None:
    """Return how many portions more would halve the log-scale doubt of a count in portions.

    `share_taken` is the share of the tub in the portions so far; doubt goes with t·√((1 − f)/m), so the first portions
    help most. None when even the whole tub is reached before that: sort it fully. Source: Cochran 1977, ch. 6.
    """
    each = share_taken / portions

    def doubt(m: int) -> float:
        left = max(0.0, 1 - each * m)
        return t_of(STORED_CONFIDENCE, m - 1) * math.sqrt(left / m)

    whole = math.floor(1 / each)
    needed = (m for m in range(portions + 1, whole + 1) if doubt(m) <= doubt(portions) / 2)
    found = next(needed, None)
    return None if found is None or found >= whole else found - portions


def crashed(believed: float, counted: float) -> bool:
    """Return whether a count found less than half of what was believed (both in animals, at the same moment)."""
    return counted < CRASH_SHARE * believed


def _wishes(line: LineDoubt) -> list[NextCount]:
    unsold, danger = unsold_by_doubt(line), chance_below(line)
    doubts = [tub.likely - (0 if tub.stale else tub.lower) for tub in line.tubs]
    whole = sum(doubts)
    shares = [doubt / whole if whole > 0 else 0.0 for doubt in doubts]
    return [
        NextCount(tub.ref, line.name, unsold * share, danger if share else 0.0, _why(tub, unsold * share, danger, line))
        for tub, share in zip(line.tubs, shares, strict=True)
    ]


def _why(tub: TubDoubt, unsold: float, danger: float, line: LineDoubt) -> str:
    if danger >= DANGER_CHANCE:
        need = line.kept_back + line.promised
        return f"{line.name} may hold fewer than the {need} that stay and are promised: about {danger:.0%} likely."
    old = "Its count is too old to sell on. " if tub.stale else ""
    return f"{old}Doubt keeps about {unsold:.0f} animals from being sold."


def _grade(danger: float) -> int:
    return math.floor(danger * GRADES) if danger >= DANGER_CHANCE else 0


def dangers(lines: Sequence[LineDoubt]) -> list[tuple[str, float]]:
    """Return the lines that may be below what stays and is promised, with the chance, the worst first."""
    chances = [(line.name, chance_below(line)) for line in lines]
    return sorted((pair for pair in chances if pair[1] >= DANGER_CHANCE), key=lambda pair: -pair[1])
