"""From a ledger to a belief: the same facts, in whatever order they were typed, give the same belief."""

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

    Events are taken in the order of `at`; those of one moment in the order given, which must then be one that does not
    depend on typing (the site gives its entry numbers). A tub begins empty: animals moved into a tub that was never
    counted are known exactly. `confidences` are those at which bounds may be asked for, besides 95 %.
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
    """Return the belief after one more event, which must not be earlier than those before."""
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
