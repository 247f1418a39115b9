"""Replay a ledger into a belief; the order in which the facts were typed makes no difference."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from breeder.core.counting.defaults import CONFIDENCES

from .belief import ApproximateLoss, LogNormalAnimals, StockBelief
from .events import ADDING_REASONS, Ageing, ApproximateChange, CountEvent, Event
from .merge_split import ShareTippedIn, split, tip_in
from .update import fuse


def replay(
    events: Iterable[Event | ShareTippedIn],
    ageing: Ageing,
    stage: str = "adults",
    confidences: Sequence[float] = CONFIDENCES,
) -> StockBelief | None:
    """Return what the book believes after these events, or None when there are none.

    Events are replayed in the order of `at`. Events at the same moment keep the given order, which must not depend on
    the order of typing (the site uses its entry numbers). A tub begins empty, so animals moved into a tub that was
    never counted are known exactly. Bounds are kept for 95 % and for `confidences`.
    """
    belief: StockBelief | None = None
    for event in sorted(events, key=lambda event: event.at):
        belief = apply_event(belief, event, ageing, stage, confidences)
    return belief


def apply_event(
    belief: StockBelief | None,
    event: Event | ShareTippedIn,
    ageing: Ageing,
    stage: str,
    confidences: Sequence[float] = CONFIDENCES,
) -> StockBelief:
    """Return the belief after one more event, which must not be earlier than the events before it."""
    if isinstance(event, CountEvent):
        return fuse(belief, event, ageing, stage, confidences)
    if isinstance(event, ShareTippedIn):
        return tip_in(belief, event)
    belief = belief or StockBelief((), event.at)
    if isinstance(event, ApproximateChange):
        return _about(belief, event)
    moved = belief.moved + event.number
    if event.reason in ADDING_REASONS:
        return replace(belief, moved=moved, added=belief.added + event.number)
    return replace(belief, moved=moved, taken=belief.taken - event.number)


def _about(belief: StockBelief, event: ApproximateChange) -> StockBelief:
    if event.share is not None and event.number <= 0:
        return replace(split(belief, event.share, event.log_sd)[0], used=belief.used)
    belief = replace(belief, added=belief.added + event.number)
    if event.number < 0:
        return replace(belief, sources=(*belief.sources, ApproximateLoss(float(-event.number), event.log_sd)))
    added = LogNormalAnimals(float(event.number), event.log_sd, min(event.shared_sd, event.log_sd), event.at)
    return replace(belief, sources=(*belief.sources, added))
