"""What the keeper does at the packing bench before a box leaves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.dates import weekday_said
from breeder.base.steps import log
from breeder.carriers.models import Service
from breeder.cultures.models import Culture
from breeder.cultures.queries.stock import stock_by_line
from breeder.orders.models import Order
from breeder.orders.steps import lock_order
from breeder.shipments import example_kits
from breeder.shipments.models import Kit, KitPart, Parcel, Supply
from breeder.shipments.queries import parcels
from breeder.shipments.rules import box_rules
from breeder.shipments.steps import box_steps


@dataclass(frozen=True)
class Part:
    """How many of a supply a kit uses up."""

    supply_id: int
    number: int


@action(lock=lock_order)
def plan_parcel(order: Order, *, by: Any) -> Parcel:
    """Plan a box for everything of an order that stands in no box yet, tub by tub."""
    box_rules.refuse_unless_open(order)
    lines = parcels.lines_to_pack(order)
    if not lines:
        raise box_rules.BoxRefused(
            f"Order {order.number} holds nothing that stands in no box yet. Look at its boxes instead.",
            code="nothing_to_pack",
        )
    service = Service.objects.filter(active=True).first()
    days = parcels.usable_days(service, timezone.localdate())
    parcel = box_steps.new_parcel(order=order, service=service, post_on=days[0] if days else None, by=by)
    items = box_steps.plan_items(parcel, lines, stock_by_line({line.offer.line_id for line in lines}))
    animals = sum(item.planned for item in items)
    tubs = "1 tub" if len(items) == 1 else f"{len(items)} tubs"
    log(
        "planned a box",
        str(parcel),
        f"Box {parcel.number} for order {order.number}: {animals} from {tubs}.",
        by=by,
    )
    return parcel


@action(lock=box_steps.lock_parcel)
def choose_kit(parcel: Parcel, kit_id: int, *, by: Any) -> Parcel:
    """Choose in what a box is packed; a check made before is no longer its check."""
    box_rules.refuse_unless_here(parcel)
    kit = Kit.objects.prefetch_related("parts__supply").get(pk=kit_id)
    box_rules.refuse_dry_ice(kit, [part.supply.name for part in kit.parts.all()])
    parcel.kit = kit
    parcel.save(update_fields=["kit"])
    log("chose a kit", str(parcel), f"Box {parcel.number} goes in {kit}.", by=by)
    return parcel


@action(lock=box_steps.lock_parcel)
def choose_day(parcel: Parcel, on: date, *, by: Any) -> Parcel:
    """Choose the day on which a box is handed over; only days on which its service takes it."""
    box_rules.refuse_unless_here(parcel)
    if parcel.service is None:
        raise box_rules.BoxRefused(
            f"Box {parcel.number} has no service yet. Choose one first; its days follow from it.", code="no_service"
        )
    today = timezone.localdate()
    box_rules.refuse_day(on, parcels.service_days(parcel.service, today), today, parcel.service)
    parcel.post_on = on
    parcel.save(update_fields=["post_on"])
    log("chose a day", str(parcel), f"Box {parcel.number} is handed over on {weekday_said(on)}.", by=by)
    return parcel


@dataclass(frozen=True)
class Choice:
    """The day and the kit that are chosen for a box."""

    number: int
    on: date
    kit_id: int


def _lock_boxes(choices: Sequence[Choice]) -> None:
    # Always in the same order: two who choose for the same boxes wait for each other only once.
    for number in sorted({choice.number for choice in choices}):
        box_steps.lock_row(number)


@action(lock=_lock_boxes)
def choose_for_boxes(choices: Sequence[Choice], *, by: Any) -> list[Parcel]:
    """Choose day and kit of several boxes at once; one that cannot be so leaves all as they were."""
    today, chosen = timezone.localdate(), []
    for choice in sorted(choices, key=lambda choice: choice.number):
        kit = parcels.kits(active=True).filter(pk=choice.kit_id).first()
        parcel = parcels.parcels().filter(number=choice.number).first()
        if kit is None or parcel is None:
            raise box_rules.BoxRefused(
                f"Box {choice.number} or its kit is no longer there. Look at the board again.", code="gone"
            )
        box_rules.refuse_unless_waiting(parcel)
        box_rules.refuse_day(choice.on, parcels.service_days(parcel.service, today), today, parcel.service)
        box_rules.refuse_dry_ice(kit, [part.supply.name for part in kit.parts.all()])
        parcel.kit, parcel.post_on = kit, choice.on
        parcel.save(update_fields=["kit", "post_on"])
        sentence = f"Box {parcel.number} goes in {kit} and is handed over on {weekday_said(choice.on)}."
        log("chose day and kit", str(parcel), sentence, by=by)
        chosen.append(parcel)
    return chosen


@action(lock=box_steps.lock_parcel)
def choose_way(parcel: Parcel, service_id: int, way: str, *, by: Any) -> Parcel:
    """Choose service and delivery way; a day on which the service takes no box moves to the next on which it does."""
    box_rules.refuse_unless_here(parcel)
    service = Service.objects.get(pk=service_id)
    box_rules.refuse_way(service, way)
    parcel.service, parcel.way = service, way
    days = parcels.usable_days(service, timezone.localdate())
    moved = parcel.post_on not in days
    if moved:
        later = [day for day in days if parcel.post_on is None or day >= parcel.post_on]
        parcel.post_on = (later or days or [None])[0]
    parcel.save(update_fields=["service", "way", "post_on"])
    day = f", on {weekday_said(parcel.post_on)}" if moved and parcel.post_on else ""
    log(
        "chose a service",
        str(parcel),
        f"Box {parcel.number} goes by {service}, {parcel.get_way_display()}{day}.",
        by=by,
    )
    return parcel


@action(lock=box_steps.lock_parcel)
def change_contents(parcel: Parcel, changes: Mapping[int, box_rules.ItemChange], *, by: Any) -> Parcel:
    """Change what is planned for a box: numbers, tubs, cups; what is set to 0 leaves it and can go into another."""
    box_rules.refuse_contents(parcel, dict(changes))
    said = []
    for item in parcel.items.all():
        wanted = changes.get(item.pk)
        if wanted is None:
            continue
        said.append(f"{item.planned} → {wanted.planned} of {item.order_line.offer.line}")
        if wanted.planned == 0:
            item.delete()
            continue
        tub = Culture.objects.filter(pk=wanted.culture_id, line=item.order_line.offer.line).first()
        item.planned, item.culture, item.cups = wanted.planned, tub, wanted.cups
        item.males, item.females = min(item.males, wanted.planned), min(item.females, wanted.planned)
        item.save(update_fields=["planned", "culture", "cups", "males", "females"])
    log("changed a box", str(parcel), f"Box {parcel.number}: {'; '.join(said) or 'as before'}.", by=by)
    return parcels.parcels().get(pk=parcel.pk)


@action()
def save_kit(kit: Kit, parts: Sequence[Part], *, by: Any) -> Kit:
    """Keep a kit, new or changed, with the supplies it uses up. Dry ice is refused."""
    names = list(Supply.objects.filter(pk__in=[part.supply_id for part in parts]).values_list("name", flat=True))
    box_rules.refuse_dry_ice(kit, names)
    # An empty list is a kit without packs, not a value that somebody forgot.
    kit.full_clean(exclude=None if kit.packs else ["packs"])
    kit.save()
    kit.parts.all().delete()
    KitPart.objects.bulk_create(KitPart(kit=kit, supply_id=part.supply_id, number=part.number) for part in parts)
    log(
        "wrote down a kit",
        str(kit),
        f"{kit}: {len(kit.layers)} layers, {len(kit.packs)} packs, cost {kit.cost:.2f}.",
        by=by,
    )
    return kit


def _lock_supplies(counts: Mapping[int, tuple[int, int]]) -> None:
    list(Supply.objects.select_for_update().filter(pk__in=counts).order_by("pk"))


@action(lock=_lock_supplies)
def count_supplies(counts: Mapping[int, tuple[int, int]], *, by: Any) -> list[Supply]:
    """Write down what is on the shelf, and below how many to order more: {supply: (on shelf, order below)}."""
    changed = []
    for supply in Supply.objects.filter(pk__in=counts).order_by("pk"):
        on_shelf, order_below = counts[supply.pk]
        if (supply.on_shelf, supply.order_below) != (on_shelf, order_below):
            log("counted a supply", str(supply), f"{supply}: {supply.on_shelf} → {on_shelf} on the shelf.", by=by)
            supply.on_shelf, supply.order_below = on_shelf, order_below
            supply.save(update_fields=["on_shelf", "order_below"])
            changed.append(supply)
    return changed


@action()
def add_supply(name: str, on_shelf: int, order_below: int, *, by: Any) -> Supply:
    """Put a new kind of box, liner or pack on the list."""
    supply = Supply(name=name, on_shelf=on_shelf, order_below=order_below)
    box_rules.refuse_dry_ice(Kit(name=name))
    supply.full_clean()
    supply.save()
    log("put a supply on the list", name, f"{name}: {on_shelf} on the shelf.", by=by)
    return supply


@action()
def load_example_kits(*, by: Any) -> list[Kit]:
    """Write down the example kits that are not in the book yet; what is there already stays as the keeper has it.

    Of what they use up nothing is on the shelf until the keeper has counted it.
    """
    made = []
    for name in example_kits.SUPPLIES:
        Supply.objects.get_or_create(name=name)
    for example in example_kits.KITS:
        kit, fresh = Kit.objects.get_or_create(name=example.name, defaults=example.values())
        if fresh:
            for supply, number in example.parts.items():
                KitPart.objects.create(kit=kit, supply=Supply.objects.get(name=supply), number=number)
            made.append(kit)
    if made:
        log("wrote down kits", "example kits", f"{len(made)} example kits: {', '.join(map(str, made))}.", by=by)
    return made


def _lock_kit(kit_id: int, *_: float) -> Kit:
    return Kit.objects.select_for_update().get(pk=kit_id)


@action(lock=_lock_kit)
def keep_measured(kit: Kit, factor: float, sd_ln: float, *, by: Any) -> Kit:
    """Keep what a kit was measured to be; its checks then rest on it instead of on the drawing with the usual leak."""
    kit.leak_factor, kit.measured_sd_ln, kit.remeasure = factor, sd_ln, False
    kit.save(update_fields=["leak_factor", "measured_sd_ln", "remeasure"])
    log(
        "measured a kit",
        str(kit),
        f"{kit} lets {factor:.2f} times as much through as drawn, ± {100 * sd_ln:.0f} %.",
        by=by,
    )
    return kit


@action()
def note_old_measurements(*, by: Any) -> list[Kit]:
    """Take down the notice that kits went back to their drawing, once the keeper has read it."""
    noted = list(parcels.kits_to_remeasure())
    Kit.objects.filter(pk__in=[kit.pk for kit in noted]).update(remeasure=False)
    if noted:
        names = ", ".join(str(kit) for kit in noted)
        log("read a notice", "kits", f"To be measured again: {names}.", by=by)
    return noted
