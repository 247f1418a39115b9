"""Pages of the room: the round, tubs, what happens to them, and lines."""

from breeder.cultures.views.changes import (
    tub_change,
    tub_close,
    tub_merge,
    tub_move,
    tub_new,
    tub_not_for_sale,
    tub_purpose,
    tub_split,
)
from breeder.cultures.views.lines import line, line_freeze, line_list, line_minimum
from breeder.cultures.views.next_counts import own_errors, to_count
from breeder.cultures.views.rounds import care, carried, overview, round_tub, start, undo
from breeder.cultures.views.sheet import sheet
from breeder.cultures.views.tubs import tub, tub_count, tub_list, tub_looked

__all__ = [
    "care",
    "carried",
    "line",
    "line_freeze",
    "line_list",
    "line_minimum",
    "overview",
    "own_errors",
    "round_tub",
    "sheet",
    "start",
    "to_count",
    "tub",
    "tub_change",
    "tub_close",
    "tub_count",
    "tub_list",
    "tub_looked",
    "tub_merge",
    "tub_move",
    "tub_new",
    "tub_not_for_sale",
    "tub_purpose",
    "tub_split",
    "undo",
]
