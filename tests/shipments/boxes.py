"""Rows for tests of boxes: a household, kits, a service, recorded hours at both ends, an order and its box."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from breeder.base.models import Setting
from breeder.carriers.models import Service
from breeder.cultures import steps as cultures
from breeder.cultures.models import Culture, Entry
from breeder.orders.models import Order, OrderLine
from breeder.shipments.models import Kit, KitPart, Parcel, ParcelItem, Supply
from breeder.species.models import Line, Species
from breeder.weather import steps as weather
from breeder.weather.models import Place
from tests import build

HOME = (Decimal("40.78"), Decimal("-73.87"))
ADDRESS = (Decimal("40.64"), Decimal("-73.78"))
ZONE = "America/New_York"
_number = iter(range(500, 10_000))


def household(**values: Any) -> Setting:
    values = {"timezone": ZONE, "latitude": HOME[0], "longitude": HOME[1]} | values
    return Setting.objects.update_or_create(pk=Setting.ONLY, defaults=values)[0]


def kit(
    name: str = "Foam 19 mm", *, packs: list[dict[str, Any]] | None = None, layers: Any = None, **values: Any
) -> Kit:
    values = {
        "inner_m": [0.25, 0.20, 0.15],
        "layers": layers or [{"material": "eps", "mm": 19}, {"material": "corrugated", "mm": 4}],
        "packs": packs or [],
        "cost": Decimal("2.60"),
    } | values
    return Kit.objects.create(name=name, **values)


def bare(**values: Any) -> Kit:
    return kit("Bare card", layers=[{"material": "corrugated", "mm": 4}], **({"cost": Decimal("1.10")} | values))


def warm(**values: Any) -> Kit:
    pack = {"kind": "heat", "rated_h": 72, "grams": 125, "lit_h": -1}
    return kit("Foam 19 mm, 72 h pack", packs=[pack], air_changes_h=1.5, **({"cost": Decimal("4.05")} | values))


def thick(**values: Any) -> Kit:
    """Twice the foam and the same pack: what holds a real frost off, where nothing else does."""
    pack = {"kind": "heat", "rated_h": 72, "grams": 125, "lit_h": -1}
    layers = [{"material": "eps", "mm": 38.1}, {"material": "corrugated", "mm": 4}]
    return kit(
        "Foam 38 mm, 72 h pack", packs=[pack], layers=layers, air_changes_h=1.5, **({"cost": Decimal("6.20")} | values)
    )


def part(of: Kit, name: str, on_shelf: int, number: int = 1) -> Supply:
    supply = Supply.objects.get_or_create(name=name, defaults={"on_shelf": on_shelf})[0]
    KitPart.objects.create(kit=of, supply=supply, number=number)
    return supply


def service(name: str = "two-day", **values: Any) -> Service:
    values = {
        "carrier": "Post",
        "weekdays": [0, 1, 2],
        "least_days": 2,
        "usual_days": 2,
        "latest_days": 4,
        "delay_shares": [0.87, 0.09, 0.04],
        "cut_off": time(16),
    } | values
    return Service.objects.create(name=name, **values)


def stocked(line: Line, *, at: datetime, young: int = 100, adults: int = 60) -> Culture:
    """A tub with a hand count of young and adults two days before `at`."""
    tub = build.tub(line, started_on=at.date() - timedelta(days=90))
    at -= timedelta(days=2)
    for stage, number in (("young", young), ("adults", adults)):
        cultures.write_entry(
            tub, Entry.Kind.COUNT, stage=stage, method="hand", given={"counted": number}, estimate=float(number),
            lower=float(number), log_sd=0.0001, shared_sd=0.0001, happened_at=at, by=None,
        )  # fmt: skip
    return tub


def order(*lines: tuple[Line, int], at: datetime = build.NOW, **values: Any) -> Order:
    """An order of starters with 2 on top of 10, promised in the ledger."""
    address = values.pop("address", None) or build.address(
        latitude=ADDRESS[0], longitude=ADDRESS[1], timezone=ZONE, town="Queens"
    )
    made = Order.objects.create(
        number=next(_number),
        person=address.person,
        address=address,
        agreed_at=at,
        **({"status": Order.Status.PAID} | values),
    )
    for line, packs in lines:
        offer = build.offer(line)
        promise = cultures.set_aside(line.pk, offer.stage, packs * offer.held, at=at, paid_at=at)
        OrderLine.objects.create(
            order=made,
            offer=offer,
            packs=packs,
            animals=offer.number,
            overcount=offer.overcount,
            price=offer.price,
            promise=promise,
        )
    return made


def parcel(post_on: date, *, of: Order | None = None, species: Species | None = None, **values: Any) -> Parcel:
    """A box with one starter out of one tub, service and day chosen."""
    if of is None:
        line = build.line(f"Form {next(_number)}", of=species)
        of = order((line, 1))
    values = {"service": Service.objects.first() or service(), "post_on": post_on} | values
    box = Parcel.objects.create(number=next(_number), order=of, **values)
    for line in of.lines.select_related("offer__line"):
        tub = Culture.objects.filter(line=line.offer.line).first() or build.tub(line.offer.line)
        ParcelItem.objects.create(
            parcel=box,
            order_line=line,
            culture=tub,
            planned=line.packs * (line.animals + line.overcount),
            cups=line.packs,
        )
    return box


def places() -> tuple[Place, Place]:
    return weather.place_for(*HOME, ZONE, "Home"), weather.place_for(*ADDRESS, ZONE, "Queens")


def real_hours(post_on: date, *, issued_at: datetime, days: int = 9, shift_c: float = 0.0, **how: Any) -> None:
    """Keep the real hours of that day of 2013 and the days after at both ends, from the day before on."""
    first = datetime.combine(post_on, time(5), tzinfo=UTC) - timedelta(days=1)
    for place, station in zip(places(), ("LGA", "JFK"), strict=True):
        weather.keep_recorded(
            place,
            station,
            read_from=first,
            shown_from=first,
            hours=days * 24,
            issued_at=issued_at,
            shift_c=shift_c,
            **how,
        )


def morning_of(on: date) -> datetime:
    """Seven in the morning in New York, give or take summer time: when boxes are checked."""
    return datetime.combine(on, time(12), tzinfo=UTC)
