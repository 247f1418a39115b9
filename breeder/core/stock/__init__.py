"""What the book believes of a tub: X + moved, from the ledger's events, with a bound that is safe to sell from."""

from .belief import Animals, Belief, Used, aged, bound, bound_at_count, in_days, is_stale, low_of, lower, spread_between
from .events import About, Ageing, Counted, Event, Moved, counted_from
from .merge_split import merged, split, tipping
from .replay import after, replay
from .serialize import as_json, from_json
from .update import fuse

__all__ = [
    "About",
    "Ageing",
    "Animals",
    "Belief",
    "Counted",
    "Event",
    "Moved",
    "Used",
    "after",
    "aged",
    "as_json",
    "bound",
    "bound_at_count",
    "counted_from",
    "from_json",
    "fuse",
    "in_days",
    "is_stale",
    "low_of",
    "lower",
    "merged",
    "replay",
    "split",
    "spread_between",
    "tipping",
]
