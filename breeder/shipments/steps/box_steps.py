"""Inner parts of actions on boxes, used by the room that sends them too; all need the caller's transaction."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max

from breeder.core.counting.plurals import is_or_are
from breeder.cultures.line_stock import LineStock
from breeder.orders.models import OrderLine
from breeder.shipments.models import Kit, Parcel, ParcelItem, Supply
from breeder.shipments.queries import parcels
from breeder.shipments.rules import box_rules

# Tries at the next number; each fails only when another box took it in the same moment.
NUMBER_TRIES = 50


def lock_row(number: int) -> None:
    """Let two at the bench wait for each other over one box."""
    Parcel.objects.filter(number=number).update(status=F("status"))


def lock_parcel(number: int, *_: Any, **__: Any) -> Parcel:
    """Lock a box, then read it whole, whatever else its action is told. Raises Parcel.DoesNotExist."""
    lock_row(number)
    return parcels.parcels().get(number=number)


def new_parcel(**values: Any) -> Parcel:
    """Make a box with the next number: plain, increasing, never used again; the unique index is the lock."""
    for _ in range(NUMBER_TRIES):
        last = Parcel.objects.aggregate(last=Max("number"))["last"] or 0
        try:
            with transaction.atomic():
                return Parcel.objects.create(number=last + 1, **values)
        except IntegrityError:
            if not Parcel.objects.filter(number=last + 1).exists():
                raise
    raise box_rules.BoxRefused(
        "Too many boxes were planned in the same moment. Send this one again; nothing was changed."
    )


def plan_items(parcel: Parcel, lines: Sequence[OrderLine], stocks: Mapping[int, LineStock]) -> list[ParcelItem]:
    """Write down what goes into a box and from which tubs; cups go with the first tub of each line.

    What other boxes that wait are to take from a tub is not there a second time.
    """
    items = []
    stages = [stage for stock in stocks.values() for stage in stock.stages.values()]
    planned = parcels.planned_from_tubs({tub.culture_id for stage in stages for tub in stage.tubs})
    for line in lines:
        stage = stocks[line.offer.line_id].stages.get(line.promise.stage)
        tubs = [box_rules.tub_without(tub, planned[tub.culture_id, stage.stage]) for tub in stage.tubs] if stage else []
        for place, pull in enumerate(box_rules.pull_from_tubs(line.promise, tubs)):
            if pull.culture_id is not None:
                planned[pull.culture_id, line.promise.stage] += pull.number
            items.append(
                ParcelItem.objects.create(
                    parcel=parcel,
                    order_line=line,
                    culture_id=pull.culture_id,
                    planned=pull.number,
                    males=pull.males,
                    females=pull.females,
                    cups=line.packs if place == 0 else 0,
                )
            )
    return items


def take_supplies(kit: Kit, boxes: int = 1) -> list[str]:
    """Count down what a kit uses up and return a sentence for every supply that the shelf did not hold enough of."""
    said = []
    for part in kit.parts.select_related("supply").order_by("supply_id"):
        # Two boxes sent at once count down one after the other: the row is changed before it is read.
        Supply.objects.filter(pk=part.supply_id).update(on_shelf=F("on_shelf"))
        supply = Supply.objects.get(pk=part.supply_id)
        needed = part.number * boxes
        if supply.on_shelf < needed:
            said.append(
                f"The shelf held {supply.on_shelf} of {supply}, and this box used {needed}. Count them and mend it."
            )
        supply.on_shelf = max(0, supply.on_shelf - needed)
        supply.save(update_fields=["on_shelf"])
        if supply.on_shelf < supply.order_below:
            said.append(
                f"{supply.on_shelf} of {supply} {is_or_are(supply.on_shelf)} left; "
                f"order more below {supply.order_below}."
            )
    return said
