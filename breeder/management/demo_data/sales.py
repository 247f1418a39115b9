"""Write two years of orders, payments and parcels of the invented breeder."""

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from breeder.carriers.models import Service
from breeder.cultures.models import Entry, Promise, Stage
from breeder.management.demo_data.demo_stock import Stock, Truth
from breeder.orders.models import Offer, Order, OrderLine, Payment
from breeder.people.models import Address
from breeder.shipments.models import Kit, Parcel, ParcelItem

POSTAGE = Decimal("14.00")
DAYS_FROM_ORDER_TO_POST = 4
TO_THE_COUNTER = timedelta(hours=2)  # from the last cup to the moment a box is handed over
SHARE_TAKEN_AT_MOST = 0.2  # of the young in a tub, for one parcel
TRADE_PARK_WEEKS = 2  # weeks of the year's end without parcels


@dataclass
class Sales:
    """Writes past orders week by week and returns the ledger entries of what was packed."""

    stock: Stock
    addresses: list[Address]
    kits: list[Kit]
    service: Service
    zone: ZoneInfo
    by: Any
    dice: Random
    number: int = 0
    lines_sold: int = field(default=0)

    def of_week(self, monday: date, week: int) -> list[Entry]:
        """Return the ledger entries of this week's parcels."""
        if monday.isocalendar().week > 52 - TRADE_PARK_WEEKS:
            return []
        made: list[Entry] = []
        for _ in range(self.dice.choice([0, 1, 1, 1, 2, 2])):
            made += self._order(self.dice.choice(self.addresses), monday + timedelta(days=self.dice.choice([0, 0, 1])))
        return made

    def _order(self, address: Address, posted_on: date) -> list[Entry]:
        picked = self._pick()
        if not picked:
            return []
        self.number += 1
        agreed = datetime.combine(posted_on - timedelta(days=DAYS_FROM_ORDER_TO_POST), time(20, 15), self.zone)
        packed = datetime.combine(posted_on, time(14, 30), self.zone)
        order = Order.objects.create(
            number=self.number,
            person=address.person,
            address=address,
            status=Order.Status.SENT,
            agreed_at=agreed,
            paid_at=agreed + timedelta(hours=14),
            promised_by=posted_on + timedelta(days=14),
            postage=POSTAGE,
            ended_at=packed + TO_THE_COUNTER,
            by=self.by,
        )
        parcel = self._parcel(order, posted_on, packed)
        entries = [self._line(order, parcel, truth, offer, agreed, packed) for truth, offer in picked]
        total = sum((offer.price or 0 for _, offer in picked), POSTAGE)
        Payment.objects.create(order=order, amount=total, on=order.paid_at.date(), reference=f"T{7000 + self.number}")
        return entries

    def _pick(self) -> list[tuple[Truth, Offer]]:
        """Return tubs that can spare a pack, each of another line."""
        picked: dict[int, tuple[Truth, Offer]] = {}
        for offer in self.dice.sample(self.stock.offers, self.dice.randint(2, 6)):
            if offer.kind != Offer.Kind.STARTER or offer.line_id in picked:
                continue
            tubs = [truth for truth in self.stock.truths if truth.tub.line_id == offer.line_id and truth.counted_on]
            best = max(tubs, key=lambda truth: truth.young, default=None)
            if best and offer.held <= SHARE_TAKEN_AT_MOST * best.young:
                picked[offer.line_id] = (best, offer)
        return list(picked.values())[:3]

    def _parcel(self, order: Order, posted_on: date, packed: datetime) -> Parcel:
        return Parcel.objects.create(
            number=order.number,
            order=order,
            kit=self.dice.choice(self.kits),
            service=self.service,
            post_on=posted_on,
            status=Parcel.Status.SENT,
            packed_at=packed,
            sent_at=packed + TO_THE_COUNTER,
            by=self.by,
        )

    def _line(
        self, order: Order, parcel: Parcel, truth: Truth, offer: Offer, agreed: datetime, packed: datetime
    ) -> Entry:
        number = offer.held
        truth.young -= number
        promise = Promise.objects.create(
            line=truth.tub.line,
            stage=Stage.YOUNG,
            number=0,
            state=Promise.State.PACKED,
            made_at=agreed,
            paid_at=order.paid_at,
            ended_at=packed,
        )
        line = OrderLine.objects.create(
            order=order,
            offer=offer,
            packs=1,
            animals=offer.number,
            overcount=offer.overcount,
            price=offer.price,
            promise=promise,
        )
        ParcelItem.objects.create(parcel=parcel, order_line=line, culture=truth.tub, planned=number, packed=number)
        self.lines_sold += 1
        return Entry(
            culture=truth.tub,
            kind=Entry.Kind.CHANGE,
            stage=Stage.YOUNG,
            number=-number,
            reason=Entry.Reason.PACKED,
            promise=promise,
            happened_at=packed,
            recorded_at=packed,
            by=self.by,
        )
