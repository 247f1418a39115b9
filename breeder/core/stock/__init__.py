"""What the book believes of a tub: X + moved, from the ledger's events, with a bound that is safe to sell from."""

from .belief import Animals, Belief, Used, aged, bound, in_days, is_stale, low_of, lower, spread_between
from .events import ADULTS, YOUNG, About, Ageing, Counted, Event, Moved, counted_from, young_left
from .merge_split import Poured, merged, pour, split, tipping
from .replay import after, replay
from .serialize import as_json, from_json
from .update import fuse
from .valid_entries import fallen

__all__ = [
    "ADULTS",
    "YOUNG",
    "About",
    "Ageing",
    "Animals",
    "Belief",
    "Counted",
    "Event",
    "Moved",
    "Poured",
    "Used",
    "after",
    "aged",
    "as_json",
    "bound",
    "counted_from",
    "fallen",
    "from_json",
    "fuse",
    "in_days",
    "is_stale",
    "low_of",
    "lower",
    "merged",
    "pour",
    "replay",
    "split",
    "spread_between",
    "tipping",
    "young_left",
]
