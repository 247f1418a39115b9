"""Allocation in a short line: which promises are covered, in which order, and what the keeper can do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from breeder.core.counting.plurals import is_or_are


@dataclass(frozen=True)
class PromiseToCover:
    """One promise of a stage: the caller's reference, the animals, when it was made, and when it was paid if so."""

    ref: Any
    number: int
    made_at: datetime
    paid_at: datetime | None = None


@dataclass(frozen=True)
class CoveredPromise:
    """A promise with its covered and its missing animals."""

    promise: PromiseToCover
    covered: int
    missing: int


def cover_promises(promises: Iterable[PromiseToCover], available: int) -> tuple[CoveredPromise, ...]:
    """Return the promises in the order of payment, then of making, each with its share of `available` animals.

    `available` is the number of animals above the number kept back. This cancels nothing; it only shows who would wait.
    """
    allocated = []
    left = max(0, available)
    for promise in sorted(promises, key=_turn):
        covered = min(left, promise.number)
        left -= covered
        allocated.append(CoveredPromise(promise, covered, promise.number - covered))
    return tuple(allocated)


def _turn(promise: PromiseToCover) -> tuple[bool, datetime, datetime]:
    return promise.paid_at is None, promise.paid_at or promise.made_at, promise.made_at


def shortage_text(short: int, count_due: bool, tub_named: bool) -> tuple[str, ...]:
    """Return sentences on what the keeper can do about a line that is `short`."""
    if not short:
        return ()
    first = (f"Count the line: {short} {is_or_are(short)} missing from an old or careful number.",) if count_due else ()
    named = ("Leave the tub open, so that another tub can cover it.",) if tub_named else ()
    return (
        *first,
        *named,
        "Ask the last buyers to wait, to take another line, or to take their money back, until "
        f"{short} {is_or_are(short)} covered.",
        "Lower the breeding minimum, with a reason that is written down.",
    )
