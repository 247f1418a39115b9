"""Run the invented breeder's current week through the same actions that the pages use."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q
from django.utils import timezone

from breeder.carriers.models import Service
from breeder.cultures import count_entry
from breeder.cultures.actions.changes import move_animals
from breeder.cultures.actions.counts import record_count
from breeder.cultures.actions.crashes import mark_crashed
from breeder.cultures.actions.freezes import freeze_line
from breeder.cultures.models import Culture, Entry, Stage
from breeder.cultures.queries.stock import stock_of
from breeder.management.demo_data.demo_stock import Stock
from breeder.orders import actions as order_actions
from breeder.orders.models import Offer, Order
from breeder.orders.queries.crashes import LOOKED_BACK
from breeder.orders.rules.order_status import Terms, Who
from breeder.orders.rules.packs import Wanted
from breeder.people.models import Person
from breeder.shipments.actions import bench, departure
from breeder.shipments.models import Parcel

VULGARE, NASATUM, SCABER, LAEVIS = (
    "Armadillidium vulgare", "Armadillidium nasatum", "Porcellio scaber", "Porcellio laevis"
)  # fmt: skip
PRUINOSUS, MURINA = "Porcellionides pruinosus", "Cubaris murina"
POSTAGE = Decimal("14.00")
# Who wants what: (person, [(species, form, kind of pack, packs)], paid).
WANTED = (
    ("Hesper Vane", [(VULGARE, "Harbour", Offer.Kind.STARTER, 1), (PRUINOSUS, "Ash", Offer.Kind.STARTER, 1)], True),
    ("Jorund Askew", [(SCABER, "Rook", Offer.Kind.STARTER, 1), (VULGARE, "Lantern", Offer.Kind.STARTER, 1)], True),
    ("Philippa Dray", [(LAEVIS, "Milk", Offer.Kind.STARTER, 1)], True),
    ("Casimir Holt", [(PRUINOSUS, "Rust", Offer.Kind.STARTER, 1)], True),
    ("Leopold Marsh", [(SCABER, "Apricot", Offer.Kind.STARTER, 1)], True),
    (
        "Bertrand Quill",
        [("Trichorhina tomentosa", "", Offer.Kind.CUP, 1), (NASATUM, "Chalk", Offer.Kind.STARTER, 1)],
        True,
    ),
    ("Xanthe Rowe", [(MURINA, "", Offer.Kind.STARTER, 1)], True),
    ("Dorothea Pym", [("Folsomia candida", "", Offer.Kind.CUP, 1)], False),
    ("Sunniva Craig", [(VULGARE, "Quarry", Offer.Kind.STARTER, 1)], False),
)
TO_COUNTER = ("Xanthe Rowe",)
SHORT_LINE = (VULGARE, "Quarry")
RARE_LINE = (MURINA, "Slate")
SHARED_BEFORE, CRASHED_BEFORE = timedelta(days=40), timedelta(days=1)


def live_through(stock: Stock, service: Service, now: datetime, by: Any) -> list[int]:
    """Agree the week's orders, plan and check their boxes; one line is short, a tub of another crashed.

    Returns the boxes' numbers.
    """
    boxes = []
    for name, wanted, paid in WANTED:
        order = _agree(stock, name, wanted, now, by)
        if paid:
            order_actions.record_payment(order.number, _total(order), now.date(), reference=f"T9{order.number}", by=by)
            box = bench.plan_parcel(order.number, by=by)
            way = Parcel.Way.COUNTER if name in TO_COUNTER else Parcel.Way.DOORSTEP
            bench.choose_way(box.number, service.pk, way, by=by)
            boxes.append(box.number)
    for number in boxes:
        departure.check_parcel(number, by=by)
    _make_short(stock, by)
    _crash(stock, now, by)
    return boxes


def _agree(stock: Stock, name: str, wanted: list[Any], now: datetime, by: Any) -> Order:
    person = Person.objects.get(name=name)
    packs = [
        Wanted(offer_id=stock.offer(stock.line(species, form), kind).pk, packs=number)
        for species, form, kind, number in wanted
    ]
    for species, form, kind, number in wanted:
        _count_if_short(stock.offer(stock.line(species, form), kind), number, by)
    terms = Terms(
        held_until=now + timedelta(hours=30),
        promised_by=timezone.localdate(now) + timedelta(days=14),
        postage=POSTAGE,
    )
    return order_actions.agree_order(Who(person_id=person.pk), packs, terms, by=by)


def _count_if_short(offer: Offer, packs: int, by: Any) -> None:
    """Count a line's tubs by hand if its last counts leave too little to sell, as a keeper does before a sale.

    How much was sold since the last count depends on the day the demo is made.
    """
    free = stock_of(offer.line_id)
    if offer.stage not in free.stages or free.free(offer.stage) >= packs * offer.held:
        return
    for tub in free.stages[offer.stage].tubs:
        record_count(tub.culture_id, offer.stage, "hand", {"counted": round(tub.likely)}, by=by)


def _total(order: Order) -> Decimal:
    return order.postage + sum((line.price or 0) * line.packs for line in order.lines.all())


def _make_short(stock: Stock, by: Any) -> None:
    """Count fewer young than were promised: the promise stays, the line is short and says so."""
    line = stock.line(*SHORT_LINE)
    tub = Culture.objects.get(line=line, closed_on=None, purpose=Culture.Purpose.BREEDING)
    record_count(tub.pk, Stage.YOUNG, "hand", {"counted": 24}, by=by)
    size = next(size for size in count_entry.EYE_CLASSES if size.low >= 25)
    record_count(tub.pk, Stage.ADULTS, "eye", {"from": size.low, "to": size.high}, by=by)


def _crash(stock: Stock, now: datetime, by: Any) -> None:
    """Let the tub crash that supplied most lately, after a transfer to its sister tub; freeze a rare line."""
    of_late = Q(entries__reason=Entry.Reason.PACKED, entries__happened_at__gte=now - LOOKED_BACK)
    breeding = Culture.objects.filter(purpose=Culture.Purpose.BREEDING, line__irreplaceable=False)
    tubs = (
        breeding.exclude(parcel_items__parcel__status=Parcel.Status.WAITING)
        .annotate(given=Count("entries", filter=of_late))
        .order_by("-given", "number")
    )
    pairs = ((tub, breeding.filter(line=tub.line).exclude(pk=tub.pk).order_by("number").first()) for tub in tubs)
    tub, sister = next((tub, sister) for tub, sister in pairs if sister)
    shared = {"happened_at": now - SHARED_BEFORE, "note": "To give them room.", "by": by}
    move_animals(tub.pk, sister.pk, Stage.YOUNG, 8, **shared)
    mark_crashed(tub.pk, "mould from end to end after the lid stuck", happened_at=now - CRASHED_BEFORE, by=by)
    freeze_line(stock.line(*RARE_LINE).pk, "lost everywhere else, and near its minimum", by=by)
