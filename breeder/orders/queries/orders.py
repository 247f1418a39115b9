"""Reads of packs and orders."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import (
    Case,
    DecimalField,
    ExpressionWrapper,
    F,
    OuterRef,
    Prefetch,
    QuerySet,
    Subquery,
    Sum,
    When,
)
from django.db.models.functions import Coalesce

from breeder.cultures.line_stock import LineStock, StageStock
from breeder.cultures.models import Promise
from breeder.cultures.phrases import animals
from breeder.cultures.queries.stock import stock_by_line
from breeder.orders.models import Offer, Order, OrderLine, Payment
from breeder.orders.rules import money
from breeder.orders.rules.money import Bill
from breeder.orders.rules.order_status import hold_ran_out, taken_of
from breeder.orders.rules.packs import OfferFree, leading, packs_free
from breeder.people import queries as people
from breeder.species.models import Line

EMPTY_STAGE = {"cup": "cups", "head": "young"}


@dataclass(frozen=True)
class LineOnOffer:
    """One line with what it can spare and the packs it is sold in."""

    line: Line
    stock: LineStock
    packs: tuple[OfferFree, ...]

    @cached_property
    def best(self) -> OfferFree | None:
        """Return the pack that a list names first."""
        return leading(self.packs)

    @property
    def stage(self) -> StageStock | None:
        """Return the stage that the bar shows: the leading pack's, else what the line is mostly sold as."""
        name = self.best.offer.stage if self.best else EMPTY_STAGE[self.line.sold_by]
        return self.stock.stages.get(name) or next(iter(self.stock.stages.values()), None)

    @property
    def free_said(self) -> str:
        """Return '64 young free', 'short by 6'."""
        if self.stage is None:
            return ""
        return (
            f"short by {self.stage.short}" if self.stage.short else f"{animals(self.stage.free, self.stage.stage)} free"
        )

    @property
    def gives(self) -> bool:
        """Return whether at least one pack could be promised now."""
        return any(free.packs for free in self.packs)


@dataclass(frozen=True)
class OrderRow:
    """One order as lists show it."""

    order: Order
    bill: Bill
    lapsed: bool

    @property
    def number(self) -> int:
        return self.order.number

    @property
    def person(self) -> str:
        return self.order.person.name

    @property
    def status(self) -> str:
        return "hold ran out" if self.lapsed else self.order.status

    @property
    def agreed_at(self) -> datetime:
        return self.order.agreed_at

    @property
    def held_until(self) -> datetime | None:
        return self.order.held_until if self.order.status == Order.Status.HELD else None

    @property
    def promised_by(self) -> date | None:
        return self.order.promised_by

    @property
    def packs(self) -> str:
        return ", ".join(str(line) for line in self.order.lines.all() if line.packs)


@dataclass(frozen=True)
class PackedLine:
    """One line of an order, what is held for it and how many animals (or cups) of it are packed."""

    line: OrderLine
    held: int
    packed: int

    @property
    def in_all(self) -> int:
        return self.line.packs * (self.line.animals + self.line.overcount)

    @property
    def price(self) -> Decimal | None:
        return None if self.line.price is None else self.line.packs * self.line.price


def lines_on_offer(
    *, on: date | None = None, only_public: bool = False, line_ids: Iterable[int] | None = None
) -> list[LineOnOffer]:
    """Return every open line with its stock and packs, in a constant number of queries however many lines."""
    offered = Offer.objects.filter(active=True, **({"public": True} if only_public else {})).order_by(
        "kind", "number", "id"
    )
    lines = Line.objects.exclude(status=Line.Status.CLOSED).select_related("species")
    wanted = None if line_ids is None else list(line_ids)
    if wanted is not None:
        lines = lines.filter(pk__in=wanted)
    stocks = stock_by_line(wanted, on=on)
    found = lines.prefetch_related(Prefetch("offers", queryset=offered, to_attr="offered"))
    # A line that was made or closed between the two reads is left out, not stumbled over.
    return [_with_packs(line, stocks[line.pk]) for line in found if line.pk in stocks]


def _with_packs(line: Line, stock: LineStock) -> LineOnOffer:
    for offer in line.offered:  # type: ignore[attr-defined]
        offer.line = line  # spares one query an offer
    packs = tuple(OfferFree(offer, packs_free(offer, stock)) for offer in line.offered)  # type: ignore[attr-defined]
    return LineOnOffer(line, stock, packs)


def offers_by_id(offer_ids: Iterable[int]) -> dict[int, Offer]:
    """Return these packs with their lines; those that do not exist are left out."""
    return Offer.objects.select_related("line__species").in_bulk(list(offer_ids))


def line_ids_of(offer_ids: Iterable[int]) -> set[int]:
    """Return the lines that these packs are of: whose turn is taken before anything else is read."""
    return set(Offer.objects.order_by().filter(pk__in=list(offer_ids)).values_list("line_id", flat=True))


def offers() -> QuerySet[Offer]:
    """Return every pack ever offered, with its line."""
    return Offer.objects.select_related("line__species")


def orders(statuses: Sequence[str] = (), who: str = "") -> QuerySet[Order]:
    """Return orders of these statuses for people whose name contains `who`, all they need read at once."""
    found = Order.objects.all()
    if statuses:
        found = found.filter(status__in=statuses)
    if who:
        found = found.filter(person__in=people.ids_containing(who, "name"))
    return whole(found)


def sortable(found: QuerySet[Order]) -> QuerySet[Order]:
    """Return the same orders with what a list may be sorted by: what each comes to, what is due, until when it holds.

    The same figures as `bill_of` gives, by the database.
    """
    lines = OrderLine.objects.filter(order=OuterRef("pk")).order_by().values("order")
    payments = Payment.objects.filter(order=OuterRef("pk")).order_by().values("order")
    goods = Subquery(lines.annotate(goods=Sum(F("packs") * F("price"))).values("goods"))
    paid = Subquery(payments.annotate(paid=Sum("amount")).values("paid"))
    amount = DecimalField(max_digits=12, decimal_places=2)
    return found.annotate(
        comes_to=ExpressionWrapper(F("postage") + Coalesce(goods, Decimal(0), output_field=amount), amount),
        still_due=ExpressionWrapper(F("comes_to") - Coalesce(paid, Decimal(0), output_field=amount), amount),
        held_still=Case(When(status=Order.Status.HELD, then="held_until")),
    )


def whole(found: QuerySet[Order]) -> QuerySet[Order]:
    """Return the same orders with person, address, lines, promises and payments read along."""
    lines = OrderLine.objects.select_related("offer__line__species", "promise", "culture")
    return found.select_related("person", "address").prefetch_related(Prefetch("lines", queryset=lines), "payments")


def rows_of(found: Iterable[Order], now: datetime) -> list[OrderRow]:
    """Return orders as lists show them."""
    return [OrderRow(order, bill_of(order), hold_ran_out(order, now)) for order in found]


def bill_of(order: Order) -> Bill:
    """Return what an order comes to and what is paid of it."""
    paid = [payment.amount for payment in order.payments.all()]
    cancelled = order.status == Order.Status.CANCELLED
    return money.bill_of(list(order.lines.all()), order.postage, paid, cancelled=cancelled)


def order_lines(order: Order) -> list[PackedLine]:
    """Return an order's lines with what of each is packed and what is still held."""
    return [PackedLine(line, _held(line.promise), taken_of(line)) for line in order.lines.all() if line.packs]


def held_of(order: Order) -> Counter[str]:
    """Return how many of each stage an order holds."""
    held: Counter[str] = Counter()
    for line in order.lines.all():
        held[line.offer.stage] += _held(line.promise)
    return held


def _held(promise: Promise | None) -> int:
    return promise.number if promise and promise.state == Promise.State.HELD else 0


def boxes_of(order: Order) -> list[Any]:
    """Return the boxes that an order goes in, for links to them; the rooms that pack are on a higher floor."""
    return list(order.parcels.order_by("number"))


def due_to_lapse(at: datetime, line_ids: Iterable[int] | None = None) -> QuerySet[Order]:
    """Return unpaid orders whose hold is over."""
    found = Order.objects.filter(status=Order.Status.HELD, paid_at=None, held_until__lte=at)
    return found if line_ids is None else found.filter(lines__offer__line__in=list(line_ids)).distinct()
