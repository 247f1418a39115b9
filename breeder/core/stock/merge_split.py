"""Tubs tipped together and tubs tipped apart, so that the sum of bounds never rises and no harvest is renewed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.counting.quantiles import whole_below

from .belief import Belief, Part, aged
from .events import About, Ageing


@dataclass(frozen=True)
class Poured:
    """A share of another tub tipped in: the share, its spread on the log scale, and what was believed of that tub."""

    at: date
    share: float
    log_sd: float
    of: Belief


def merged(beliefs: Sequence[Belief]) -> Belief:
    """Return the belief of tubs tipped together: middles add and bounds add, to the animal.

    Errors are taken to go together, so no quantile gains by adding. The oldest count decides when a new one is due.
    Raises ValueError when there is nothing to merge.
    """
    if not beliefs:
        raise ValueError("There is no tub to tip together. Name at least one.")
    since = min(belief.known_since for belief in beliefs)
    return Belief(
        tuple(Part(1.0, 0.0, belief) for belief in beliefs),
        since,
        taken=sum(belief.taken for belief in beliefs),
        counted_on=since,
        added=sum(belief.added for belief in beliefs),
        at_count=sum(belief.at_count for belief in beliefs),
    )


def split(belief: Belief, share: float, share_log_sd: float) -> tuple[Belief, Belief]:
    """Return (what stays, what goes) when about a `share` of a tub is tipped out, its spread on the log scale.

    Each side holds its share of the bound, lowered by its own doubt about the share, so the two bounds together never
    pass the one before. What stays is in doubt by share/(1 − share) times as much. What was taken since the last count
    goes along by share. Raises ValueError for a share outside (0, 1] or a negative spread.
    """
    if not 0 < share <= 1:
        raise ValueError(f"The share tipped out is {share:g}, but it must be above 0 and at most 1.")
    if not share_log_sd >= 0:
        raise ValueError(f"The spread of the share is {share_log_sd:g}, but it must be at least 0.")
    stays = 1 - share
    doubt = share_log_sd * share / stays if stays else 0.0
    return _part(belief, stays, doubt), _part(belief, share, share_log_sd)


def pour(there: Belief | None, poured: Poured) -> Belief:
    """Return the belief of a tub into which a share of another was tipped; the bounds add, never more."""
    part = split(poured.of, poured.share, poured.log_sd)[1]
    return part if there is None else merged([there, part])


def tipping(
    belief: Belief, on: date, share: float, share_log_sd: float, ageing: Ageing, stage: str
) -> tuple[About, Poured]:
    """Return the two sides of tipping a share of one tub into another: out of this tub, and into the other.

    The number in the first only tells the reader how many that was.
    """
    number = whole_below(share * aged(belief, on, ageing, stage).expected)
    return About(on, -number, share_log_sd, share), Poured(on, share, share_log_sd, belief)


def _part(belief: Belief, share: float, log_sd: float) -> Belief:
    since = belief.known_since
    return Belief(
        (Part(share, log_sd, belief),),
        since,
        taken=share * belief.taken,
        counted_on=since,
        added=share * belief.added,
        at_count=share * belief.at_count,
    )
