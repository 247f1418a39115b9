"""Inner parts of sending and unpacking: the ledger, promises and quarantine. All need the caller's transaction."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from breeder.base.dates import day_said
from breeder.base.models import Setting
from breeder.core.counting.plurals import is_or_are
from breeder.cultures import quarantine
from breeder.cultures import steps as cultures
from breeder.cultures.models import Promise
from breeder.orders import steps as orders
from breeder.orders.models import Order
from breeder.shipments.models import Parcel, ParcelItem
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import HERE
from breeder.weather.models import Place
from breeder.weather.steps import place_for


def places_of(parcel: Parcel, household: Setting) -> tuple[Place, Place]:
    """Return the places of both ends of a box's way, kept if they are new. Raises weather's PlaceUnknown."""
    address = parcel.order.address
    home = place_for(household.latitude, household.longitude, household.timezone, "Home")
    return home, place_for(
        address.latitude, address.longitude, address.timezone, address.town or address.postcode or "The address"
    )


def write_packed(parcel: Parcel, packed: Mapping[int, int]) -> list[ParcelItem]:
    """Write down how many of each item went in; what was not said went in as planned."""
    items = list(parcel.items.all())
    for item in items:
        item.packed = packed.get(item.pk, item.planned if item.packed is None else item.packed)
        item.save(update_fields=["packed"])
    return items


def write_ledger(items: Iterable[ParcelItem], *, at: datetime, by: Any) -> list[str]:
    """Take what was packed out of its tubs and its promises; return what could not be written, in sentences."""
    said = []
    for item in items:
        line, promise = item.order_line.offer.line, item.order_line.promise
        if not item.packed:
            continue
        if promise is not None:
            # Two items may fill one promise: each must see what the other left of it.
            promise.refresh_from_db()
        males, females = min(item.males, item.packed), min(item.females, item.packed - min(item.males, item.packed))
        if item.culture is None:
            said.append(
                f"No tub is named for {item.packed} of {line}, so no tub's book was changed. Record it as a change in "
                "the tub they came from."
            )
            if promise is not None and promise.state == Promise.State.HELD:
                cultures.take_off(promise, item.packed, males, females, at)
            continue
        cultures.pack_from(
            item.culture,
            item.order_line.offer.stage,
            item.packed,
            promise=promise,
            at=at,
            by=by,
            males=males,
            females=females,
        )
    return said


def close_promises(items: Iterable[ParcelItem], *, at: datetime) -> list[str]:
    """End the promises that this box fills; what is still owed of the agreed number stays promised, and is said."""
    said = []
    lines = {item.order_line_id: item.order_line for item in items}
    for line in lines.values():
        promise = line.promise
        if promise is None:
            continue
        promise.refresh_from_db()
        owed = departure_rules.still_owed(line.packs * line.animals, _packed_of(line.pk))
        elsewhere = ParcelItem.objects.filter(order_line=line, parcel__status__in=HERE).exclude(
            parcel__in=[item.parcel_id for item in items]
        )
        if promise.state != Promise.State.HELD or elsewhere.exists():
            continue
        if owed:
            said.append(
                f"{owed} of the {line.packs * line.animals} agreed of {line.offer.line} {is_or_are(owed)} still owed "
                "and promised. Plan another box, or change the order."
            )
        else:
            cultures.finish(promise, at=at)
    return said


def _packed_of(order_line_id: int) -> int:
    gone = ParcelItem.objects.filter(order_line=order_line_id).exclude(parcel__status=Parcel.Status.UNPACKED)
    return sum(item.packed or 0 for item in gone)


def release_promises(items: Iterable[ParcelItem], *, at: datetime) -> list[str]:
    """Give back what the lines of a box still hold, and return it in sentences."""
    said = []
    for line in {item.order_line_id: item.order_line for item in items}.values():
        if line.promise is None:
            continue
        line.promise.refresh_from_db()
        if line.promise.state == Promise.State.HELD:
            said.append(f"{line.promise.number} of {line.offer.line} {is_or_are(line.promise.number)} free again.")
            cultures.release(line.promise, at=at)
    return said


def close_order(order: Order, *, at: datetime) -> bool:
    """Mark an order as sent when nothing of it is held any more, and return whether it was."""
    held = order.lines.filter(promise__state=Promise.State.HELD).exists()
    waiting = order.parcels.filter(status__in=HERE).exists()
    if held or waiting:
        return False
    orders.mark_sent(order, at=at)
    return True


def to_quarantine(items: Iterable[ParcelItem], box: str, *, at: datetime, by: Any) -> list[str]:
    """Carry what was in a box into quarantine tubs, and return where each went, in sentences."""
    said = []
    for item in items:
        line = item.order_line.offer.line
        if not item.packed:
            continue
        if item.culture is None:
            said.append(
                f"No tub is named for {item.packed} of {line}, so no tub's book was changed. Keep them apart, and "
                "record where you put them."
            )
            continue
        tub = quarantine.tub_for(item.culture, at=at, because=f"Was in {box}", by=by)
        quarantine.carry(
            item.culture,
            tub,
            item.order_line.offer.stage,
            item.packed,
            males=min(item.males, item.packed),
            females=min(item.females, item.packed - min(item.males, item.packed)),
            at=at,
            note=f"Was in {box}",
            by=by,
        )
        said.append(
            f"{item.packed} of {line} {is_or_are(item.packed)} in quarantine tub {tub.number} until "
            f"{day_said(tub.quarantine_until)}."
        )
    return said
