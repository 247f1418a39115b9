"""The table of what can be sold."""

from datetime import date
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from breeder.forsale.queries import Row

NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}
BARE = {"td": {"unlabelled": True}}
CSV_COLUMNS = (
    "line", "scientific name", "form", "locality", "stage", "at least", "stays", "promised", "free", "short", "packs",
    "price", "counted on", "method",
)  # fmt: skip


class ForSaleTable(tables.Table):
    """One row a line: the bar, what is free, packs, price, when it was counted."""

    line = tables.Column("Line", order_by="name", attrs=BARE)
    bar = tables.Column("Animals", empty_values=(), orderable=False, attrs=BARE)
    free = tables.Column("Free", attrs=NUMBER)
    packs = tables.Column("Packs", attrs=NUMBER)
    price = tables.Column("Price", attrs=NUMBER, empty_values=())
    counted_on = tables.Column("Counted", empty_values=())

    class Meta:
        order_by = "line"
        attrs = {"class": "as-cards"}

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def render_line(self, record: Row) -> SafeString:
        return render_to_string("forsale/_line.html", {"row": record})

    def render_bar(self, record: Row) -> SafeString:
        return render_to_string("forsale/_bar.html", {"row": record})

    def render_free(self, record: Row) -> SafeString:
        return render_to_string("forsale/_free.html", {"row": record})

    def render_price(self, value: Decimal | None, record: Row) -> str:
        if not record.on_offer.packs:
            return "–"
        return "on request" if value is None else f"{value:.2f}"

    def render_counted_on(self, record: Row) -> SafeString:
        return render_to_string("forsale/_counted.html", {"row": record, "is_old": record.is_old(self.today)})


def csv_rows(rows: list[Row], *, prices: bool) -> list[tuple[Any, ...]]:
    """Return every stage of every line as a row of the spreadsheet file."""
    found = []
    for row in rows:
        stages = row.on_offer.stock.stages.values()
        for stage in stages:
            leads = row.stage is not None and stage.stage == row.stage.stage
            found.append(
                (
                    row.name, str(row.line.species), row.line.form_name, row.line.locality, stage.stage, stage.lower,
                    stage.stays, stage.promised, stage.free, stage.short, row.packs if leads else None,
                    row.price if leads and prices else None,
                    stage.counted_on.isoformat() if stage.counted_on else None, stage.method,
                )
            )  # fmt: skip
    return found
