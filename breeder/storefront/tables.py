"""The for-sale table, and its rows as a spreadsheet file."""

from collections.abc import Iterable
from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from breeder.storefront.rules import ForSaleRow

BARE = {"td": {"unlabelled": True}}
NUMBER = {"th": {"class": "num"}, "td": {"class": "num beside"}}
CSV_COLUMNS = (
    "line", "scientific name", "form", "locality", "stage", "at least", "stays", "promised", "free", "short", "pack",
    "packs", "price", "counted on", "method",
)  # fmt: skip


class ForSaleTable(tables.Table):
    """One row per line: the bar with its working, what is free, packs, price, and when it was counted."""

    line = tables.Column("Line", order_by="name", attrs=BARE)
    bar = tables.Column("Animals", empty_values=(), orderable=False, attrs=BARE)
    free = tables.Column("Free", attrs=NUMBER)
    packs = tables.Column("Packs", attrs=NUMBER)
    price = tables.Column("Price", attrs=NUMBER, empty_values=())
    counted_on = tables.Column("Counted", empty_values=())

    class Meta:
        order_by = "line"
        attrs = {"class": "as-cards"}

    def __init__(self, *args: Any, is_keeper: bool, **kwargs: Any) -> None:
        super().__init__(*args, exclude=() if is_keeper else ("price",), **kwargs)
        self.is_keeper = is_keeper

    def render_line(self, record: ForSaleRow) -> SafeString:
        return render_to_string("storefront/_line.html", {"row": record})

    def render_bar(self, record: ForSaleRow) -> SafeString:
        return render_to_string("storefront/_bar.html", {"row": record, "is_keeper": self.is_keeper})

    def render_free(self, record: ForSaleRow) -> SafeString:
        return render_to_string("storefront/_free.html", {"row": record})

    def render_price(self, record: ForSaleRow) -> str:
        return record.price_text

    def render_counted_on(self, record: ForSaleRow) -> SafeString:
        return render_to_string("storefront/_counted.html", {"row": record})


def csv_rows(rows: Iterable[ForSaleRow], *, prices: bool) -> list[tuple[Any, ...]]:
    """Return every stage of every line as a row of the file; the leading pack is in the row of its stage."""
    return [_csv_row(row, stage, prices) for row in rows for stage in row.on_offer.stock.stages.values()]


def _csv_row(row: ForSaleRow, stage: Any, prices: bool) -> tuple[Any, ...]:
    best = row.on_offer.best if stage is row.stage else None
    return (
        row.name,
        str(row.line.species),
        row.line.form_name,
        row.line.locality,
        stage.stage,
        stage.lower,
        stage.stays,
        stage.promised,
        stage.free,
        stage.short,
        best.offer.pack if best else None,
        best.packs if best else None,
        best.offer.price if best and prices else None,
        stage.counted_on.isoformat() if stage.counted_on else None,
        stage.method,
    )
