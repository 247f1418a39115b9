"""A book of ten years of work, made by bulk inserts: what `bench pages` reads. Every row is invented.

303 tubs in 60 lines, 74,000 ledger entries, 1,721 orders, 1,500 people; two years of it, half an hour of typing a day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random

from django.contrib.auth.models import Group, User
from django.db import transaction
from django.utils import timezone

from breeder.base.models import LogRow, Setting, Token
from breeder.base.roles import HELPER, KEEPER
from breeder.carriers.actions import load_example_services
from breeder.carriers.models import MovementRule, Service
from breeder.carriers.rule_actions import load_example_rules
from breeder.cultures import belief_store
from breeder.cultures.models import Ancestry, Culture, Promise, Stage
from breeder.evaluation.benchmarks.big_book_ledger import DAYS, LedgerMaker
from breeder.orders.models import Offer, Order, OrderLine, Payment
from breeder.people.models import Address, Person
from breeder.shipments.actions.bench import load_example_kits
from breeder.shipments.models import Kit, Parcel, ParcelItem, Supply
from breeder.species.actions import load_starter_set
from breeder.species.models import Line, Species
from breeder.weather import steps as weather

LINES, TUBS, ENTRIES, ORDERS, PEOPLE = 60, 303, 74_000, 1_721, 1_500
CLOSED_TUBS, CUP_LINES, SHELVES = 3, 6, 12
HELD, PAID, WAITING_BOXES, CANCELLED = 18, 32, 14, 60
SEED = 303
HOME = (Decimal("42.70"), Decimal("-74.92"), "America/New_York")
TOWNS = (
    ("Pineford", "US-NY", "13326", "42.70", "-74.92"),
    ("Alder Mills", "US-VT", "05401", "44.48", "-73.21"),
    ("Quarry Bend", "US-PA", "18503", "41.41", "-75.66"),
    ("Saltmarsh", "US-MA", "02554", "41.28", "-70.10"),
    ("Nettle Creek", "US-NC", "28801", "35.60", "-82.55"),
    ("Dry Fork", "US-AZ", "86001", "35.20", "-111.65"),
)
FIRST_NAMES = ("Hesper", "Jorund", "Philippa", "Casimir", "Leopold", "Bertrand", "Xanthe", "Dorothea", "Sunniva")
LAST_NAMES = ("Vane", "Askew", "Dray", "Holt", "Marsh", "Quill", "Rowe", "Pym", "Craig", "Wray", "Thorne")


@dataclass(frozen=True)
class BigBook:
    """What the pages of the book are asked with."""

    keeper: User
    helper: User
    tub: Culture
    sister: Culture
    line: Line
    held_order: Order
    paid_order: Order
    box: Parcel
    now: datetime


def make(now: datetime) -> BigBook:
    """Fill an empty, migrated database with the big book and return what its pages are asked with."""
    maker = _Maker(now)
    with transaction.atomic():
        maker.household()
    load_starter_set()
    load_example_services(today=timezone.localdate(now))
    load_example_rules()
    load_example_kits(by=None)
    with transaction.atomic():
        maker.stock()
        maker.people()
        maker.sales()
        LedgerMaker(now, maker.dice, (maker.keeper, maker.helper)).write(maker.tubs, maker.items, ENTRIES)
        maker.log()
        maker.rules()
        maker.weather()
    with transaction.atomic():
        belief_store.bring_up_to_date(tub.pk for tub in maker.tubs)
    return maker.asked()


class _Maker:
    """Makes the rows room by room; every draw comes from one fixed seed."""

    def __init__(self, now: datetime) -> None:
        self.now, self.today, self.dice = now, timezone.localdate(now), Random(SEED)

    def household(self) -> None:
        north, east, zone = HOME
        Setting.objects.create(
            trade_name="Invented Isopods",
            return_address="Invented Isopods\n1 Example Lane\nPineford NY 13326",
            timezone=zone,
            latitude=north,
            longitude=east,
            region="US-NY",
        )
        roles = {role: Group.objects.get_or_create(name=role)[0] for role in (KEEPER, HELPER)}
        self.keeper, self.helper = (User.objects.create(username=role) for role in (KEEPER, HELPER))
        self.keeper.groups.add(roles[KEEPER])
        self.helper.groups.add(roles[HELPER])

    def stock(self) -> None:
        species = list(Species.objects.order_by("pk"))
        self.lines = Line.objects.bulk_create(
            Line(
                species=species[number % len(species)],
                form_name=f"Form {number:02}",
                sold_by=Line.SoldBy.CUP if number < CUP_LINES else Line.SoldBy.HEAD,
                irreplaceable=number % 17 == 0,
            )
            for number in range(LINES)
        )
        self._shelves()
        self.offers = Offer.objects.bulk_create(_offers(self.lines))

    def _shelves(self) -> None:
        purposes = [Culture.Purpose.BREEDING] * 7 + [Culture.Purpose.GROWING] * 2 + [Culture.Purpose.QUARANTINE]
        begun = self.today - timedelta(days=DAYS)
        self.tubs = Culture.objects.bulk_create(
            Culture(
                number=number,
                line=self.lines[number % LINES],
                shelf=f"S{number % SHELVES + 1:02}",
                place_on_shelf=number // SHELVES + 1,
                litres=6,
                purpose=purposes[number % len(purposes)],
                started_on=begun,
                closed_on=self.today - timedelta(days=9) if number > TUBS - CLOSED_TUBS else None,
            )
            for number in range(1, TUBS + 1)
        )
        Ancestry.objects.bulk_create(
            Ancestry(child=tub, parent=self.tubs[place - LINES], kind=Ancestry.Kind.SPLIT, on=begun)
            for place, tub in enumerate(self.tubs)
            if place >= LINES
        )

    def people(self) -> None:
        persons = Person.objects.bulk_create(
            Person(name=_name(number), email=f"p{number}@example.org", consent_on=self.today)
            for number in range(PEOPLE)
        )
        self.addresses = Address.objects.bulk_create(
            _address(person, TOWNS[number % len(TOWNS)]) for number, person in enumerate(persons)
        )

    def sales(self) -> None:
        self.orders = Order.objects.bulk_create(self._order(number) for number in range(1, ORDERS + 1))
        by_head = [offer for offer in self.offers if offer.kind == Offer.Kind.STARTER]
        wanted = [(order, self.dice.choice(by_head)) for order in self.orders for _ in range(self.dice.randint(1, 3))]
        promises = Promise.objects.bulk_create(self._promise(order, offer) for order, offer in wanted)
        self.order_lines = OrderLine.objects.bulk_create(
            OrderLine(
                order=order, offer=offer, packs=1, animals=offer.number, overcount=offer.overcount, price=offer.price,
                promise=promise,
            )
            for (order, offer), promise in zip(wanted, promises, strict=True)
        )  # fmt: skip
        due: dict[int, Decimal] = {}
        for line in self.order_lines:
            due[line.order_id] = due.get(line.order_id, Decimal(0)) + (line.price or 0)
        Payment.objects.bulk_create(
            Payment(order=order, amount=due[order.pk] + order.postage, on=timezone.localdate(order.paid_at))
            for order in self.orders
            if order.paid_at
        )
        self._boxes()

    def _order(self, number: int) -> Order:
        """Return the order of a number: most were sent; the last ones are held or paid, some were cancelled."""
        left = ORDERS - number
        if left < HELD:
            status = Order.Status.HELD
        elif left < HELD + PAID:
            status = Order.Status.PAID
        else:
            status = Order.Status.CANCELLED if number % (ORDERS // CANCELLED) == 0 else Order.Status.SENT
        agreed = self.now - timedelta(days=DAYS * left / ORDERS, hours=5)
        ended = agreed + timedelta(days=6) if status in (Order.Status.SENT, Order.Status.CANCELLED) else None
        address = self.addresses[number * 7 % PEOPLE]
        return Order(
            number=number, person=address.person, address=address, status=status, agreed_at=agreed, postage=14,
            held_until=self.now + timedelta(hours=6 + left) if status == Order.Status.HELD else None,
            paid_at=agreed + timedelta(hours=2) if status in (Order.Status.PAID, Order.Status.SENT) else None,
            ended_at=ended, ended_because="They changed their mind." if status == Order.Status.CANCELLED else "",
            by=self.keeper,
        )  # fmt: skip

    def _promise(self, order: Order, offer: Offer) -> Promise:
        states = {Order.Status.SENT: Promise.State.PACKED, Order.Status.CANCELLED: Promise.State.RELEASED}
        state = states.get(Order.Status(order.status), Promise.State.HELD)
        return Promise(
            line_id=offer.line_id, stage=offer.stage, number=offer.held if state == Promise.State.HELD else 0,
            state=state, made_at=order.agreed_at, paid_at=order.paid_at, expires_at=order.held_until,
            ended_at=order.ended_at,
        )  # fmt: skip

    def _boxes(self) -> None:
        sent = [order for order in self.orders if order.status == Order.Status.SENT]
        paid = [order for order in self.orders if order.status == Order.Status.PAID][:WAITING_BOXES]
        kit, service = Kit.objects.order_by("pk")[2], Service.objects.filter(active=True)[0]
        Supply.objects.update(on_shelf=40)
        next_days = [self.today + timedelta(days=ahead) for ahead in range(1, 8)]
        post_on = next(day for day in next_days if day.weekday() in service.weekdays)
        self.boxes = Parcel.objects.bulk_create(
            Parcel(
                number=place, order=order, kit=kit, service=service, by=self.keeper,
                post_on=timezone.localdate(order.ended_at) if order.ended_at else post_on,
                status=Parcel.Status.SENT if order.ended_at else Parcel.Status.WAITING,
                packed_at=order.ended_at, sent_at=order.ended_at,
            )
            for place, order in enumerate([*sent, *paid], start=1)
        )  # fmt: skip
        boxes = {box.order_id: box for box in self.boxes}
        first_tub = {tub.line_id: tub for tub in reversed(self.tubs)}
        self.items = ParcelItem.objects.bulk_create(
            ParcelItem(
                parcel=boxes[line.order_id], order_line=line, culture=first_tub[line.offer.line_id],
                planned=line.offer.held, packed=line.offer.held if boxes[line.order_id].sent_at else None,
            )
            for line in self.order_lines
            if line.order_id in boxes
        )  # fmt: skip

    def log(self) -> None:
        LogRow.objects.bulk_create(
            LogRow(
                at=order.agreed_at, by=self.keeper, did="agreed an order", about=str(order),
                sentence=f"Order {order.number} for {order.person}: 2 packs.",
            )
            for order in self.orders
            for _ in range(3)
        )  # fmt: skip
        Token.objects.bulk_create(
            Token(key=f"invented-{order.number}", answer=f"/orders/{order.number}/", at=order.agreed_at)
            for order in self.orders
        )

    def rules(self) -> None:
        looked = {
            "citation": "Invented for this benchmark; no rule", "verified": True, "checked_on": self.today,
            "recheck_on": self.today + timedelta(days=365),
        }  # fmt: skip
        MovementRule.objects.create(destination="US", effect=MovementRule.Effect.ALLOWED, **looked)

    def weather(self) -> None:
        first = self.now.astimezone(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
        for name, _, _, north, east in TOWNS:
            place = weather.place_for(Decimal(north), Decimal(east), HOME[2], name)
            weather.keep_recorded(
                place, "JFK", read_from=datetime(2013, 5, 10, first.hour, tzinfo=UTC), shown_from=first, hours=240,
                issued_at=self.now - timedelta(hours=2),
            )  # fmt: skip

    def asked(self) -> BigBook:
        """Return what pages are asked with: a tub and line in the middle, the last held and the first paid order."""
        middle = self.tubs[LINES // 2]
        held, paid = (
            next(order for order in reversed(self.orders) if order.status == status)
            for status in (Order.Status.HELD, Order.Status.PAID)
        )
        sister = self.tubs[LINES // 2 + LINES]
        return BigBook(self.keeper, self.helper, middle, sister, middle.line, held, paid, self.boxes[-1], self.now)


def _offers(lines: Sequence[Line]) -> Iterator[Offer]:
    for line in lines:
        if line.sold_by == Line.SoldBy.CUP:
            yield Offer(line=line, kind=Offer.Kind.CUP, stage=Stage.CUPS, number=1, price=8)
            continue
        for number, price in ((5, 12), (12, 25)):
            yield Offer(line=line, kind=Offer.Kind.STARTER, stage=Stage.YOUNG, number=number, overcount=1, price=price)


def _address(person: Person, town: tuple[str, ...]) -> Address:
    name, region, postcode, north, east = town
    return Address(
        person=person, block=f"{person.name}\n1 Example Lane\n{name} {region[3:]} {postcode}", region=region,
        postcode=postcode, town=name, latitude=Decimal(north), longitude=Decimal(east), timezone=HOME[2],
    )  # fmt: skip


def _name(number: int) -> str:
    """Return an invented name, another for every number."""
    first, last = FIRST_NAMES[number % len(FIRST_NAMES)], LAST_NAMES[number // len(FIRST_NAMES) % len(LAST_NAMES)]
    return f"{first} {last}-{number:04}"
