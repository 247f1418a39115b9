"""Tables of orders and packs."""

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2.data import TableQuerysetData

from breeder.base.dates import day_said
from breeder.orders.models import Offer, Order
from breeder.orders.queries.line_customers import Handed
from breeder.orders.queries.orders import OrderRow, rows_of
from breeder.orders.rules.packs import both_sexes_said

NUMBER = {"th": {"class": "num"}, "td": {"class": "num beside"}}
BESIDE = {"td": {"class": "beside nowrap"}}
ORDER_COLUMNS = ("order", "for", "status", "agreed", "held until", "post by", "packs", "total", "paid", "without price")


def order_cells(row: OrderRow) -> tuple[Any, ...]:
    """Return one order as a row of the spreadsheet file."""
    return (
        row.number,
        row.person,
        row.status,
        timezone.localdate(row.agreed_at).isoformat(),
        timezone.localdate(row.held_until).isoformat() if row.held_until else None,
        row.promised_by.isoformat() if row.promised_by else None,
        row.packs,
        row.bill.total,
        row.bill.paid,
        row.bill.unpriced or None,
    )


class OrderRows(TableQuerysetData):
    """Orders of which only those on the shown page are read; the database sorts them."""

    def __init__(self, data: QuerySet[Order], now: datetime) -> None:
        super().__init__(data)
        self.now = now

    def __getitem__(self, key: slice) -> list[OrderRow]:  # type: ignore[override]
        """Return the orders of one page as lists show them."""
        return rows_of(self.data[key], self.now)

    def order_by(self, aliases: Any) -> None:
        """Sort as the columns ask; orders that are alike there stand newest first, on every page."""
        super().order_by(aliases)
        self.data = self.data.order_by(*self.data.query.order_by, "-number")


class OrderTable(tables.Table):
    """Orders, newest first."""

    number = tables.Column("Order", attrs=NUMBER, linkify=("orders:order", {"number": tables.A("number")}))
    person = tables.Column(
        "For", linkify=("people:person", {"pk": tables.A("order__person_id")}), order_by=("person__name",)
    )
    status = tables.Column("Status", attrs=BESIDE)
    held_until = tables.Column("Held until", default="", order_by=("held_still",), attrs=BESIDE)
    promised_by = tables.Column("Post by", default="", attrs=BESIDE)
    packs = tables.Column("Packs", orderable=False)
    total = tables.Column("Total", accessor="bill__total", order_by=("comes_to",), attrs=NUMBER)
    due = tables.Column("Open", accessor="bill__due", order_by=("still_due",), attrs=NUMBER)

    class Meta:
        order_by = "-number"

    def render_status(self, record: OrderRow) -> SafeString:
        return format_html('<span class="tag">{}</span>', record.status)

    def render_held_until(self, value: datetime) -> str:
        return day_said(value, short=True)

    def render_promised_by(self, value: date) -> str:
        return day_said(value, short=True)

    def render_due(self, value: Decimal, record: OrderRow) -> str:
        return f"{value:.2f}" if value or record.bill.unpriced else "–"

    def render_total(self, value: Decimal, record: OrderRow) -> str:
        return f"{value:.2f}" + (" + ?" if record.bill.unpriced else "")


HANDED_COLUMNS = (
    "on", "person", "kind", "e-mail", "phone", "stage", "number", "males", "females", "order", "tub",
)  # fmt: skip


def handed_cells(row: Handed) -> tuple[Any, ...]:
    """Return what went to somebody as a row of the spreadsheet file."""
    on, person = timezone.localdate(row.at).isoformat(), row.person
    sexes = (row.males or None, row.females or None)
    return (
        on, person.name, person.get_kind_display(), person.email, person.phone, row.stage, row.number, *sexes,
        row.order.number, row.tub,
    )  # fmt: skip


class HandedTable(tables.Table):
    """What of a line went to whom, latest first."""

    at = tables.Column("On", attrs=BESIDE)
    person = tables.Column(
        "Who", linkify=("people:person", {"pk": tables.A("person__pk")}), order_by=("person__name",), attrs=BESIDE
    )
    said = tables.Column("How many", order_by=("number",), attrs=BESIDE)
    order = tables.Column(
        "Order", accessor="order__number", linkify=("orders:order", {"number": tables.A("order__number")}), attrs=BESIDE
    )
    tub = tables.Column("Out of tub", default="not named", attrs=BESIDE)

    def render_at(self, value: datetime) -> str:
        return date_format(timezone.localtime(value), "j M Y")


class OfferTable(tables.Table):
    """Packs that lines are sold in."""

    line = tables.Column(
        order_by=("line__species__scientific_name", "line__form_name"), attrs={"td": {"unlabelled": True}}
    )
    pack = tables.Column("Pack", order_by=("kind", "number"), attrs={"td": {"unlabelled": True}})
    overcount = tables.Column("On top", attrs=NUMBER)
    price = tables.Column("Price", attrs=NUMBER, empty_values=())
    active = tables.Column("Offered", attrs=BESIDE)
    edit = tables.Column(
        "", linkify=("orders:offer_edit", {"pk": tables.A("pk")}), empty_values=(), orderable=False, attrs=BESIDE
    )

    class Meta:
        order_by = ("line", "pack")

    def render_line(self, record: Offer) -> SafeString:
        return _part("orders/_line.html", line=record.line)

    def render_pack(self, record: Offer) -> SafeString:
        said = both_sexes_said(record)
        return format_html("{}<br><small>{}</small>", record.pack, said) if said else format_html("{}", record.pack)

    def render_price(self, record: Offer) -> str:
        return "on request" if record.price is None else f"{record.price:.2f}"

    def render_active(self, record: Offer) -> str:
        if not record.active:
            return "no longer"
        return "yes" if record.public else "yes, not on the public list"

    def render_edit(self) -> str:
        return "Change"


def _part(template: str, **given: Any) -> SafeString:
    return render_to_string(template, given)
