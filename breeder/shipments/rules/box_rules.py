"""Pure rules for boxes: which tubs to pull from, what never goes in, and what to do with each kit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError

from breeder.base.dates import weekday_said
from breeder.carriers.models import Service
from breeder.core.transit.delivery_days import ShippingDay
from breeder.core.units import degrees
from breeder.cultures.line_stock import TubStock
from breeder.cultures.models import Promise
from breeder.orders.models import Order
from breeder.shipments.models import Kit, Parcel

# Names of dry ice on labels, invoices and shelves.
DRY_ICE_WORDS = ("dry ice", "dryice", "dry-ice", "carbon dioxide", "solid co2", "un1845", "un 1845")
DRY_ICE = (
    "Dry ice never goes into a box with live animals: its gas pushes the air out and they suffocate, and carriers keep "
    "the two apart. Use a cold gel or phase-change pack; nobody can override this."
)

# Warmers average about 57 °C in use (135 °F; Chemical & Engineering News, 2010).
PACK_FACE_C = 57.0

# Boxes that are still in the house.
HERE = (Parcel.Status.WAITING, Parcel.Status.PACKED)


class BoxRefused(ValidationError):
    """A refusal in whole sentences: the request does not fit the box's current state."""


@dataclass(frozen=True)
class TubPull:
    """Animals to take from one tub for a box; no tub if none is known to hold any."""

    culture_id: int | None
    number: int
    males: int = 0
    females: int = 0


@dataclass(frozen=True)
class ItemChange:
    """The new values of an item of a box; 0 takes it out of the box."""

    planned: int
    culture_id: int | None
    cups: int


def tub_without(tub: TubStock, number: int) -> TubStock:
    """Return what a tub can still give after this many of its animals are taken."""
    return replace(tub, lower=max(0, tub.lower - number), free_alone=max(0, tub.free_alone - number))


def pull_from_tubs(promise: Promise, tubs: Sequence[TubStock]) -> list[TubPull]:
    """Return which tubs the animals of a promise come from: a named tub, else the fewest tubs that safely hold them.

    Of equally few tubs, those with the most to spare are taken. The number that must stay counts for the whole line,
    so one tub may give a little more than its share. A plan is never refused: what no tub safely holds is planned from
    the fullest one, and the packer sees what is there. The sexes go with the first animals.
    """
    wanted = promise.number
    if promise.culture_id is not None:
        return [TubPull(promise.culture_id, wanted, promise.males, promise.females)]
    giving = _fewest_tubs(wanted, [tub for tub in tubs if tub.gives])
    if not giving:
        return [TubPull(None, wanted, promise.males, promise.females)]
    taken: dict[int, int] = {}
    by_lower = sorted(giving, key=lambda tub: (-tub.lower, tub.number))
    # First what a tub can spare alone, then what is safely in it.
    rounds = [(tub, tub.free_alone) for tub in giving] + [(tub, tub.lower) for tub in by_lower]
    for tub, most in rounds:
        more = min(wanted, max(0, most - taken.get(tub.culture_id, 0)))
        if more:
            taken[tub.culture_id] = taken.get(tub.culture_id, 0) + more
            wanted -= more
    if wanted:
        fullest = by_lower[0].culture_id
        taken[fullest] = taken.get(fullest, 0) + wanted
    return _with_sexes(taken, promise.males, promise.females)


def _fewest_tubs(wanted: int, giving: Sequence[TubStock]) -> list[TubStock]:
    """Return the fewest tubs that safely hold this many animals, the most to spare first; all of them if too few."""
    sizes = sorted((tub.lower for tub in giving), reverse=True)
    fewest = next((k for k in range(1, len(sizes)) if sum(sizes[:k]) >= wanted), len(sizes))
    chosen: list[TubStock] = []
    left = sorted(giving, key=lambda tub: (-tub.free_alone, -tub.lower, tub.number))
    for tub in list(left):
        left.remove(tub)
        # Take a tub if the fullest of those after it can make up the rest within the fewest tubs.
        fullest = sorted((other.lower for other in left), reverse=True)[: fewest - len(chosen) - 1]
        held = sum(other.lower for other in chosen) + tub.lower + sum(fullest)
        if len(chosen) < fewest and (held >= wanted or fewest == len(sizes)):
            chosen.append(tub)
    return chosen


def _with_sexes(taken: dict[int, int], males: int, females: int) -> list[TubPull]:
    pulls = []
    for culture_id, number in taken.items():
        of_males = min(males, number)
        of_females = min(females, number - of_males)
        males, females = males - of_males, females - of_females
        pulls.append(TubPull(culture_id, number, of_males, of_females))
    return pulls


def refuse_dry_ice(kit: Kit, supply_names: Iterable[str] = ()) -> None:
    """Raise BoxRefused for a kit that names dry ice anywhere: in its name, note, packs or supplies."""
    kinds = " ".join(str(pack.get("kind", "")).replace("_", " ") for pack in kit.packs)
    text = " ".join([kit.name, kit.note, kinds, *supply_names]).lower()
    if any(word in text for word in DRY_ICE_WORDS):
        raise BoxRefused(DRY_ICE, code="dry_ice")


def refuse_unless_open(order: Order) -> None:
    """Raise BoxRefused for an order that no box can be planned for."""
    if order.status not in (Order.Status.HELD, Order.Status.PAID):
        raise BoxRefused(
            f"Order {order.number} is {order.status}, so no box is planned for it. Hold the order again first, or "
            "agree a new one.",
            code="order_not_open",
        )


def refuse_unless_here(parcel: Parcel) -> None:
    """Raise BoxRefused for a box that has left or was unpacked."""
    if parcel.status not in HERE:
        raise BoxRefused(
            f"Box {parcel.number} is {parcel.status}; nothing about it can be changed any more.", code="box_gone"
        )


def refuse_unless_waiting(parcel: Parcel) -> None:
    """Raise BoxRefused for a box that is packed or gone, or that has no service: its day and kit are fixed."""
    refuse_unless_here(parcel)
    if parcel.status != Parcel.Status.WAITING or parcel.service is None:
        why = "has no service yet" if parcel.service is None else "is packed already"
        raise BoxRefused(
            f"Box {parcel.number} {why}, so the board gives it no day. Open its own page.", code="not_waiting"
        )


def refuse_day(on: date, days: Sequence[ShippingDay], today: date, service: Service) -> None:
    """Raise BoxRefused for a day on which the service takes no box, saying why and naming the usable days."""
    if on < today:
        raise BoxRefused(f"{weekday_said(on)} is past. Choose today or a later day.", code="day_past")
    chosen = next((day for day in days if day.on == on), None)
    if chosen is not None and chosen.usable:
        return
    why = chosen.why_not if chosen else f"it is further away than the {len(days)} days that a box is planned ahead"
    offered = ", ".join(weekday_said(day.on) for day in days if day.usable)
    remedy = f"Choose one of {offered}." if offered else "Choose another service."
    raise BoxRefused(
        f"{service} does not take this box on {weekday_said(on)}: {why}. {remedy}", code="not_a_posting_day"
    )


def refuse_way(service: Service, way: str) -> None:
    """Raise BoxRefused for a delivery way that the service does not offer."""
    offered = {Parcel.Way.DOORSTEP: service.to_doorstep, Parcel.Way.COUNTER: service.to_counter}
    if not offered.get(Parcel.Way(way)):
        other = Parcel.Way.COUNTER if way == Parcel.Way.DOORSTEP else Parcel.Way.DOORSTEP
        raise BoxRefused(
            f"{service} does not deliver to a {way}. Choose {other.label}, or another service.", code="way_not_offered"
        )


def refuse_contents(parcel: Parcel, changes: dict[int, ItemChange]) -> None:
    """Raise BoxRefused if a change would leave a box empty, or names an item that is not in it."""
    refuse_unless_here(parcel)
    items = {item.pk: item for item in parcel.items.all()}
    if set(changes) - set(items):
        raise BoxRefused(
            f"Something you changed is no longer in box {parcel.number}. Look at it again.", code="item_gone"
        )
    if not any(changes[pk].planned if pk in changes else item.planned for pk, item in items.items()):
        raise BoxRefused(
            f"Box {parcel.number} would be empty. Leave at least one animal in it, or unpack the box.", code="box_empty"
        )


def instructions_for(kit: Kit | None, *, handed_over: datetime | None = None, fahrenheit: bool = False) -> list[str]:
    """Return what to do with the packs and air holes of a kit, in order (common practice, no source).

    `handed_over`: when the box goes, on the household's clock; with it, packs get a time to open them.
    """
    if kit is None:
        return []
    alike = [(pack, kit.packs.count(pack)) for place, pack in enumerate(kit.packs) if pack not in kit.packs[:place]]
    steps = [_open_heat_pack(pack, number, handed_over) for pack, number in alike if pack["kind"] == "heat"]
    steps += [_ready_cold_pack(pack, number, fahrenheit) for pack, number in alike if pack["kind"] == "phase_change"]
    if any(pack["kind"] == "heat" for pack in kit.packs):
        steps.append(
            "Tape it inside the lid under a layer of paper, away from the cups: its face reaches about "
            f"{degrees(PACK_FACE_C, fahrenheit=fahrenheit)} and burns what touches it. It uses up the animals' oxygen, "
            "so never close a bag around it."
        )
    if kit.ballast_kg:
        steps.append(
            f"Put in {kit.ballast_kg:g} l of water in a tight bottle, at room temperature: it slows the swings."
        )
    steps.append("Leave the air holes open, and never put the animals in a sealed bag.")
    return steps


def _open_heat_pack(pack: dict[str, float], number: int, handed_over: datetime | None) -> str:
    hours = -float(pack.get("lit_h", 0.0))
    if handed_over is not None:
        opened = handed_over - timedelta(hours=hours)
        when = f"at {opened:%H:%M}" if opened.date() == handed_over.date() else f"on {opened:%A at %H:%M}"
    elif hours > 0:
        when = f"{hours * 60:.0f} minutes before hand-over" if hours < 2 else f"{hours:g} hours before hand-over"
    else:
        when = "when you close the box"
    if number > 1:
        return (
            f"Open the {number} heat packs of {pack['rated_h']:g} h {when} and see that they warm before you pack them."
        )
    return f"Open the {pack['rated_h']:g} h heat pack {when} and see that it warms before you pack it."


def _ready_cold_pack(pack: dict[str, float], number: int, fahrenheit: bool) -> str:
    melts, starts = (degrees(pack[name], fahrenheit=fahrenheit) for name in ("melt_c", "start_c"))
    what, they, it = f"the {pack['kg']:g} kg pack that melts", "it", "it"
    if number > 1:
        what, they, it = f"the {number} packs of {pack['kg']:g} kg that melt", "each", "them"
    return (
        f"Bring {what} at {melts} to {starts} first, wrap {they} in paper, and keep {it} off the cups: a pack straight "
        "from the freezer chills what lies against it."
    )
