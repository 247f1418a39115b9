"""Read kits, supplies and parcels; the only module of this room that annotates and prefetches."""

from collections import Counter
from collections.abc import Iterable
from datetime import date

from django.db.models import Count, Prefetch, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from breeder.carriers.models import Service
from breeder.carriers.queries import carrier_closures, service_timing
from breeder.core.transit.delivery_days import ShippingDay, shipping_days
from breeder.orders.models import Order, OrderLine
from breeder.shipments.models import Kit, KitPart, Parcel, ParcelItem, Supply
from breeder.shipments.rules.box_rules import HERE

# How far ahead a posting day may be chosen; no forecast reaches further than 16 days.
HORIZON_DAYS = 16


def kits(*, active: bool | None = None) -> QuerySet[Kit]:
    """Return kits in order of cost, with the supplies that each uses up."""
    rows = Kit.objects.prefetch_related(Prefetch("parts", KitPart.objects.select_related("supply")))
    return rows if active is None else rows.filter(active=active)


def kits_to_remeasure() -> QuerySet[Kit]:
    """Return the kits whose measurement was discarded, until the keeper dismisses the notice or measures again."""
    return Kit.objects.filter(remeasure=True).order_by("name")


def supplies() -> QuerySet[Supply]:
    """Return supplies by name, with the number of kits in use that need each."""
    in_use = Count("kit_parts", filter=Q(kit_parts__kit__active=True), distinct=True)
    return Supply.objects.annotate(kits_in_use=in_use).order_by("name")


def parcels() -> QuerySet[Parcel]:
    """Return parcels with everything that a page or a check reads, in a fixed number of queries."""
    items = ParcelItem.objects.select_related(
        "culture__line__species", "order_line__offer__line__species", "order_line__promise", "order_line__culture"
    )
    return Parcel.objects.select_related("order__person", "order__address", "kit", "service", "by").prefetch_related(
        Prefetch("items", items), Prefetch("kit__parts", KitPart.objects.select_related("supply"))
    )


def parcels_here() -> QuerySet[Parcel]:
    """Return the waiting and the packed boxes, in order of their day."""
    return parcels().filter(status__in=HERE)


def parcels_sent(number: int) -> QuerySet[Parcel]:
    """Return the last boxes that left or were unpacked; one that never left sorts by when it was packed or agreed.

    Empty times sort first on PostgreSQL and last on SQLite, so none may be empty.
    """
    at = Coalesce("sent_at", "packed_at", "order__agreed_at")
    return parcels().exclude(status__in=HERE).order_by(at.desc(), "-number")[:number]


def planned_from_tubs(culture_ids: Iterable[int]) -> Counter[tuple[int, str]]:
    """Return how many animals the waiting boxes will take from these tubs, by tub and stage."""
    rows = ParcelItem.objects.filter(culture__in=list(culture_ids), parcel__status=Parcel.Status.WAITING)
    sums = rows.order_by().values_list("culture", "order_line__promise__stage").annotate(Sum("planned"))
    return Counter({(culture_id, stage): number for culture_id, stage, number in sums})


def planned_by_order_line(order_line_ids: Iterable[int]) -> dict[int, int]:
    """Return how many animals of these order lines are planned for boxes that are here."""
    rows = ParcelItem.objects.filter(order_line__in=list(order_line_ids), parcel__status__in=HERE)
    return dict(rows.order_by().values_list("order_line").annotate(Sum("planned")))


def orders_without_box() -> QuerySet[Order]:
    """Return orders that still hold animals without a planned box."""
    unplanned = OrderLine.objects.filter(promise__state="held").exclude(parcel_items__parcel__status__in=HERE)
    return (
        Order.objects.filter(status__in=(Order.Status.HELD, Order.Status.PAID), lines__in=unplanned)
        .select_related("person")
        .distinct()
    )


def lines_to_pack(order: Order) -> list[OrderLine]:
    """Return the lines of an order that still hold animals and are in no box that is here."""
    return list(
        order.lines.select_related("offer__line__species", "promise", "culture")
        .filter(promise__state="held")
        .exclude(parcel_items__parcel__status__in=HERE)
        .order_by("id")
    )


def short_supplies(kit_ids: Iterable[int]) -> dict[int, list[str]]:
    """Return, by kit, a text for every supply of which the shelf has too few for one box."""
    short: dict[int, list[str]] = {kit_id: [] for kit_id in kit_ids}
    for part in KitPart.objects.filter(kit_id__in=short).select_related("supply"):
        if part.supply.on_shelf < part.number:
            short[part.kit_id].append(f"{part.supply}: {part.number} needed, {part.supply.on_shelf} on the shelf")
    return short


def service_days(service: Service, today: date) -> tuple[ShippingDay, ...]:
    """Return every day of the horizon from today on: usable by this service, or why not."""
    return shipping_days(service_timing(service), carrier_closures(service.carrier), today, HORIZON_DAYS)


def usable_days(service: Service | None, today: date) -> list[date]:
    """Return the days on which a service takes a box, from today on; none without a service."""
    return [] if service is None else [day.on for day in service_days(service, today) if day.usable]
