"""What the book believes of a tub: X + moved, from the ledger's events, with a bound that is safe to sell from."""

from .events import About, Ageing, Counted, Event, Moved, counted_from
from .fusing import fuse
from .mixing import merged, split, tipping
from .replaying import after, replay
from .state import Animals, Belief, Used, aged, bound_at_count, in_days, is_stale, low_of, lower, spread_between
from .storing import as_json, from_json

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
