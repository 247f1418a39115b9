"""Reads of tubs, entries, beliefs and promises; the only place of the room that gathers rows."""

from breeder.cultures.queries.last_looks import NEVER, LastLook, last_looks
from breeder.cultures.queries.next_counts import plan_of_week
from breeder.cultures.queries.offline_round import carried_on
from breeder.cultures.queries.related_tubs import Sister, left_since, sisters_of
from breeder.cultures.queries.rounds import last_of, round_of, sheet_of
from breeder.cultures.queries.sexed_adults import sexed_of
from breeder.cultures.queries.stock import (
    held_promises,
    open_on_shelf,
    read_lines,
    stock_by_line,
    stock_of,
    stock_of_lines,
)
from breeder.cultures.queries.tubs import (
    book_of,
    entry_rows,
    line_by_pk,
    line_rows,
    lines_open,
    looks_of,
    promise_rows,
    shelves,
    tub_by_number,
    tub_rows,
    tubs_open,
    with_lines,
)

__all__ = [
    "NEVER",
    "LastLook",
    "Sister",
    "book_of",
    "carried_on",
    "entry_rows",
    "held_promises",
    "last_looks",
    "last_of",
    "left_since",
    "line_by_pk",
    "line_rows",
    "lines_open",
    "looks_of",
    "open_on_shelf",
    "plan_of_week",
    "promise_rows",
    "round_of",
    "read_lines",
    "sexed_of",
    "sheet_of",
    "shelves",
    "sisters_of",
    "stock_by_line",
    "stock_of",
    "stock_of_lines",
    "tub_by_number",
    "tub_rows",
    "tubs_open",
    "with_lines",
]
