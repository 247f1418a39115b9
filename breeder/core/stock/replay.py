"""Replay a ledger into a belief; the order in which the facts were typed makes no difference."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from breeder.core.counting.defaults import CONFIDENCES

from .belief import Animals, Belief, Gone
from .events import ADDING_REASONS, About, Ageing, Counted, Event
from .merge_split import Poured, pour, split
from .update import fuse


def replay(
    events: Iterable[Event | Poured], ageing: Ageing, stage: str = "adults", confidences: Sequence[float] = CONFIDENCES
) -> Belief | None:
    """Return what the book believes after these events, or None when there are none.

    Events are replayed in the order of `at`. Events at the same moment keep the given order, which must not depend on
    the order of typing (the site uses its entry numbers). A tub begins empty, so animals moved into a tub that was
    never counted are known exactly. Bounds are kept for 95 % and for `confidences`.
    """
    belief: Belief | None = None
    for event in sorted(events, key=lambda event: event.at):
        belief = after(belief, event, ageing, stage, confidences)
    return belief


def after(
    belief: Belief | None,
    event: Event | Poured,
    ageing: Ageing,
    stage: str,
    confidences: Sequence[float] = CONFIDENCES,
) -> Belief:
    """Return the belief after one more event, which must not be earlier than the events before it."""
    if isinstance(event, Counted):
        return fuse(belief, event, ageing, stage, confidences)
    if isinstance(event, Poured):
        return pour(belief, event)
    belief = belief or Belief((), event.at)
    if isinstance(event, About):
        return _about(belief, event)
    moved = belief.moved + event.number
    if event.reason in ADDING_REASONS:
        return replace(belief, moved=moved, added=belief.added + event.number)
    return replace(belief, moved=moved, taken=belief.taken - event.number)


def _about(belief: Belief, event: About) -> Belief:
    if event.share is not None and event.number <= 0:
        return replace(split(belief, event.share, event.log_sd)[0], used=belief.used)
    belief = replace(belief, added=belief.added + event.number)
    if event.number < 0:
        return replace(belief, sources=(*belief.sources, Gone(float(-event.number), event.log_sd)))
    added = Animals(float(event.number), event.log_sd, min(event.shared_sd, event.log_sd), event.at)
    return replace(belief, sources=(*belief.sources, added))
