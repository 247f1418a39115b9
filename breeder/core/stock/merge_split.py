"""Merge and split tubs so that the sum of bounds never rises and no harvest is renewed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.counting.quantiles import whole_below

from .belief import StockBelief, TubShare, aged
from .events import Ageing, ApproximateChange


@dataclass(frozen=True)
class ShareTippedIn:
    """An event: the share of another tub tipped in, its log-scale spread, and `whole`, the belief about that tub."""

    at: date
    share: float
    log_sd: float
    whole: StockBelief


def merged(beliefs: Sequence[StockBelief]) -> StockBelief:
    """Return the belief about tubs that were merged: medians add and bounds add, exact to the animal.

    Errors are taken to go together, so adding tubs never improves a bound. The oldest count decides when a new count
    is due.
    Raises ValueError when there is nothing to merge.
    """
    if not beliefs:
        raise ValueError("There is no tub to tip together. Name at least one.")
    since = min(belief.known_since for belief in beliefs)
    return StockBelief(
        tuple(TubShare(1.0, 0.0, belief) for belief in beliefs),
        since,
        taken=sum(belief.taken for belief in beliefs),
        counted_on=since,
        added=sum(belief.added for belief in beliefs),
        at_count=sum(belief.at_count for belief in beliefs),
    )


def split(belief: StockBelief, share: float, share_log_sd: float) -> tuple[StockBelief, StockBelief]:
    """Return (what stays, what goes) when about the share `share` of a tub is tipped out.

    `share_log_sd` is the spread of the share on the log scale. Each side gets its share of the bound, lowered by the
    doubt about that share, so the two bounds together never pass the one before. The part that stays is
    share/(1 − share) times as uncertain as the part that goes. The harvest since the last count is divided by share.
    Raises ValueError for a share outside (0, 1] or a negative spread.
    """
    if not 0 < share <= 1:
        raise ValueError(f"The share tipped out is {share:g}, but it must be above 0 and at most 1.")
    if not share_log_sd >= 0:
        raise ValueError(f"The spread of the share is {share_log_sd:g}, but it must be at least 0.")
    stays = 1 - share
    doubt = share_log_sd * share / stays if stays else 0.0
    return _part(belief, stays, doubt), _part(belief, share, share_log_sd)


def tip_in(there: StockBelief | None, poured: ShareTippedIn) -> StockBelief:
    """Return the belief about a tub after a share of another was tipped in; its bound is at most the sum of both."""
    part = split(poured.whole, poured.share, poured.log_sd)[1]
    return part if there is None else merged([there, part])


def tip_events(
    belief: StockBelief, on: date, share: float, share_log_sd: float, ageing: Ageing, stage: str
) -> tuple[ApproximateChange, ShareTippedIn]:
    """Return the two events of tipping a share of one tub into another: out of this tub, and into the other.

    The number in the first event is only for display.
    """
    number = whole_below(share * aged(belief, on, ageing, stage).expected)
    return ApproximateChange(on, -number, share_log_sd, share), ShareTippedIn(on, share, share_log_sd, belief)


def _part(belief: StockBelief, share: float, log_sd: float) -> StockBelief:
    since = belief.known_since
    return StockBelief(
        (TubShare(share, log_sd, belief),),
        since,
        taken=share * belief.taken,
        counted_on=since,
        added=share * belief.added,
        at_count=share * belief.at_count,
    )
