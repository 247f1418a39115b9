"""From a ledger to a belief: the same facts, in whatever order they were typed, give the same belief."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from .belief import Animals, Belief, Gone
from .events import HARVEST_REASONS, About, Ageing, Counted, Event, Moved
from .merge_split import split
from .update import fuse


def replay(events: Iterable[Event], ageing: Ageing, stage: str = "adults") -> Belief | None:
    """Return what the book believes after these events, or None when there are none.

    Events are taken in the order of `at`; those of one moment in the order given, which must then be one that does not
    depend on typing (the site gives its entry numbers). A tub begins empty: animals moved into a tub that was never
    counted are known exactly.
    """
    belief: Belief | None = None
    for event in sorted(events, key=lambda event: event.at):
        belief = after(belief, event, ageing, stage)
    return belief


def after(belief: Belief | None, event: Event, ageing: Ageing, stage: str) -> Belief:
    """Return the belief after one more event, which must not be earlier than those before."""
    if isinstance(event, Counted):
        return fuse(belief, event, ageing, stage)
    belief = belief or Belief((), event.at)
    if isinstance(event, Moved):
        taken = -event.number if event.reason in HARVEST_REASONS else 0
        return replace(belief, moved=belief.moved + event.number, taken=belief.taken + taken)
    return _about(belief, event)


def _about(belief: Belief, event: About) -> Belief:
    if event.share is not None and event.number <= 0:
        return replace(split(belief, event.share, event.log_sd)[0], used=belief.used)
    if event.number < 0:
        return replace(belief, sources=(*belief.sources, Gone(float(-event.number), event.log_sd)))
    added = Animals(float(event.number), event.log_sd, min(event.shared_sd, event.log_sd), event.at)
    return replace(belief, sources=(*belief.sources, added))
