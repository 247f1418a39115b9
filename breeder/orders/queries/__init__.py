"""Reads of packs and orders, of promises, and of who got what; the only place of this room that gathers rows."""

from breeder.orders.queries.crashes import Crash, crash_of
from breeder.orders.queries.line_customers import Handed, WhoHas, handed_of_line, handed_of_tub, who_has
from breeder.orders.queries.orders import (
    LineOnOffer,
    OrderRow,
    PackedLine,
    bill_of,
    boxes_of,
    due_to_lapse,
    held_of,
    line_ids_of,
    lines_on_offer,
    offers,
    offers_by_id,
    order_lines,
    orders,
    rows_of,
    sortable,
    whole,
)
from breeder.orders.queries.promises import PromisedStage, PromiseRow, promises_of_line

__all__ = [
    "Crash",
    "Handed",
    "LineOnOffer",
    "OrderRow",
    "PackedLine",
    "PromiseRow",
    "PromisedStage",
    "WhoHas",
    "bill_of",
    "boxes_of",
    "crash_of",
    "due_to_lapse",
    "handed_of_line",
    "handed_of_tub",
    "held_of",
    "line_ids_of",
    "lines_on_offer",
    "offers",
    "offers_by_id",
    "order_lines",
    "orders",
    "promises_of_line",
    "rows_of",
    "sortable",
    "who_has",
    "whole",
]
