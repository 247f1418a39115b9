"""Tubs tipped together and tubs tipped apart, so that the sum of bounds never rises."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from breeder.core.counting.quantiles import STORED_Z, whole_below

from .belief import Belief, Part, aged, low_of, spread_between
from .events import About, Ageing


def merged(beliefs: Sequence[Belief]) -> Belief:
    """Return the belief of tubs tipped together: middles add and bounds add, to the animal.

    Errors are taken to go together, so no quantile gains by adding. The oldest count decides when a new one is due.
    Raises ValueError when there is nothing to merge.
    """
    if not beliefs:
        raise ValueError("There is no tub to tip together. Name at least one.")
    parts = tuple(Part(1.0, 0.0, belief) for belief in beliefs)
    since = min(belief.known_since for belief in beliefs)
    return Belief(parts, since, counted_on=since)


def split(belief: Belief, share: float, share_log_sd: float) -> tuple[Belief, Belief]:
    """Return (what stays, what goes) when about a `share` of a tub is tipped out, its spread on the log scale.

    Each side holds its share of the bound, lowered by its own doubt about the share, so the two bounds together never
    pass the one before. What stays is in doubt by share/(1 − share) times as much. Raises ValueError for a share
    outside (0, 1] or a negative spread.
    """
    if not 0 < share <= 1:
        raise ValueError(f"The share tipped out is {share:g}, but it must be above 0 and at most 1.")
    if not share_log_sd >= 0:
        raise ValueError(f"The spread of the share is {share_log_sd:g}, but it must be at least 0.")
    stays = 1 - share
    doubt = share_log_sd * share / stays if stays else 0.0
    return _part(belief, stays, doubt), _part(belief, share, share_log_sd)


def tipping(
    belief: Belief, on: date, share: float, share_log_sd: float, ageing: Ageing, stage: str
) -> tuple[About, About]:
    """Return the two entries of tipping a share of one tub into another: out of this tub, and into the other.

    The other tub takes over this one's doubt as well as that about the share (independent, so in quadrature).
    """
    now = aged(belief, on, ageing, stage)
    number = whole_below(share * now.expected)
    log_sd = math.hypot(spread_between(now.expected, low_of(now, STORED_Z) + now.moved), share_log_sd)
    shared_sd = spread_between(now.expected, low_of(now, STORED_Z, shared_only=True) + now.moved)
    return About(on, -number, share_log_sd, share), About(on, number, log_sd, None, min(shared_sd, log_sd))


def _part(belief: Belief, share: float, log_sd: float) -> Belief:
    since = belief.known_since
    return Belief((Part(share, log_sd, belief),), since, counted_on=since)
