"""Gather what needs doing today, in a fixed number of queries."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Max, Q, QuerySet
from django.utils import timezone

from breeder.cultures.count_uncertainty import ToCount
from breeder.cultures.frozen_lines import should_freeze
from breeder.cultures.kept_answers import ReadLine
from breeder.cultures.line_stock import LineStock
from breeder.cultures.models import Belief, Culture, Stage
from breeder.cultures.queries.last_looks import NEVER, LastLook, last_looks
from breeder.cultures.queries.next_counts import plan_of_week
from breeder.cultures.queries.stock import read_lines, stock_of_lines
from breeder.cultures.queries.tubs import with_lines
from breeder.orders.models import Order
from breeder.shipments.box_page import morning_text, obstacle_text
from breeder.shipments.models import Kit, Parcel, Supply
from breeder.shipments.queries.checks import BoxStatus, waiting
from breeder.shipments.queries.parcels import kits_to_remeasure, orders_without_box
from breeder.shipments.rules.departure_rules import order_ended
from breeder.species.models import Line

HOLD_ENDS_WITHIN = timedelta(hours=36)
LOOKED_AFTER_DAYS = 7  # a week's round: common practice, no source
COUNT_DUE_DAYS = 150  # a month before an old count sells nothing
TROUBLE_DAYS = 14
NOTHING_KNOWN = "never counted, so nothing of it can be sold"
TROUBLE = ("mould", "mites", "dry")


@dataclass(frozen=True)
class TubToSee:
    """A tub that needs a look, and why."""

    tub: Culture
    why: str


@dataclass(frozen=True)
class LineInNeed:
    """A line that is short of animals or of breeders, and why."""

    line: Line
    why: str
    stock: LineStock


@dataclass(frozen=True)
class WaitingBox:
    """A waiting parcel, and whether its last check still holds."""

    parcel: Parcel
    verdict: str
    reason: str
    morning: str = ""
    blocks: tuple[str, ...] = ()
    asks_for_check: bool = False


@dataclass(frozen=True)
class DayOverview:
    """Everything that the first page shows."""

    on: date
    boxes: tuple[WaitingBox, ...]
    tubs: tuple[TubToSee, ...]
    to_count: tuple[ToCount, ...]
    looked_at: int
    open_tubs: int
    lines: tuple[LineInNeed, ...]
    holds: tuple[Order, ...]
    to_plan: tuple[Order, ...]
    supplies: tuple[Supply, ...]
    shelf_is_bare: bool  # the shelf holds nothing, as before its first count
    remeasure: tuple[Kit, ...]
    has_lines: bool

    @property
    def asks_for_checks(self) -> bool:
        """Return whether any box needs a new check."""
        return any(box.asks_for_check for box in self.boxes)

    @property
    def is_quiet(self) -> bool:
        return not (self.boxes or self.tubs or self.lines or self.holds or self.to_plan or self.supplies)


def day_overview(now: datetime) -> DayOverview:
    """Return what needs doing on this day."""
    on = timezone.localdate(now)
    open_tubs, lines = Culture.objects.filter(closed_on=None), read_lines()
    tubs, looks = list(with_lines(open_tubs)), last_looks(open_tubs)
    supplies = list(Supply.objects.all())
    return DayOverview(
        on=on,
        boxes=tuple(_boxes(now)),
        tubs=tuple(_to_see(tubs, looks, on)),
        to_count=plan_of_week(on, lines=lines).tubs,
        looked_at=sum(1 for last in looks.values() if last.seen_at and _is_recent(last.seen_at, on)),
        open_tubs=len(tubs),
        lines=tuple(_lines_in_need(lines)),
        holds=tuple(_holds(now)),
        to_plan=tuple(orders_without_box().filter(status=Order.Status.PAID)),
        supplies=tuple(supply for supply in supplies if supply.on_shelf < supply.order_below),
        shelf_is_bare=not any(supply.on_shelf for supply in supplies),
        remeasure=tuple(kits_to_remeasure()),
        has_lines=bool(lines) or Line.objects.exists(),
    )


def _boxes(now: datetime) -> list[WaitingBox]:
    return [
        WaitingBox(
            standing.parcel,
            standing.verdict,
            obstacle_text(standing, now) or (standing.check.reason if standing.check else ""),
            morning_text(standing.parcel, standing.check, now),
            standing.legal.blocks,
            _asks_for_check(standing, now),
        )
        for standing in waiting(now)
    ]


def _asks_for_check(standing: BoxStatus, now: datetime) -> bool:
    on, ended = standing.parcel.post_on, order_ended(standing.parcel.order, now)
    return bool(on and on >= timezone.localdate(now) and not ended and (standing.check is None or standing.is_changed))


def _last_counts() -> dict[int, datetime | None]:
    """Return when each open tub was last counted, of those of which the book knows anything."""
    beliefs = Belief.objects.filter(culture__closed_on=None).exclude(stage=Stage.CUPS).order_by()
    return dict(beliefs.values_list("culture_id").annotate(last=Max("counted_at")))


def _to_see(tubs: list[Culture], looks: dict[int, LastLook], on: date) -> list[TubToSee]:
    counts = _last_counts()
    found = [(tub, _why(tub, looks.get(tub.pk, NEVER), counts, on)) for tub in tubs]
    return [TubToSee(tub, why) for tub, why in found if why]


def _why(tub: Culture, last: LastLook, counts: dict[int, datetime | None], on: date) -> str:
    """Return why a tub asks to be seen to; an empty text if it does not."""
    trouble = [flag for flag in TROUBLE if flag in last.seen]
    if trouble and last.look_at and (on - _day(last.look_at)).days <= TROUBLE_DAYS:
        return f"{' and '.join(trouble)} seen {_ago(last.look_at, on)}"
    if tub.quarantine_until and tub.purpose == Culture.Purpose.QUARANTINE and tub.quarantine_until <= on:
        return "its quarantine is over"
    if tub.purpose not in (Culture.Purpose.BREEDING, Culture.Purpose.GROWING) or tub.line.sold_by != Line.SoldBy.HEAD:
        return ""
    if (counted_at := counts.get(tub.pk)) is None:
        return "never counted: the book knows only what was put in" if tub.pk in counts else NOTHING_KNOWN
    if (on - _day(counted_at)).days >= COUNT_DUE_DAYS:
        return f"count due: last counted {_ago(counted_at, on)}"
    return ""


def _lines_in_need(lines: list[ReadLine]) -> list[LineInNeed]:
    stocks, crashed = stock_of_lines(lines, timezone.localdate()), _crashed_lines()
    needs = []
    for line in lines:
        if why := "; ".join(filter(None, (crashed.get(line.pk), _need(stocks[line.pk])))):
            needs.append(LineInNeed(line.rows.line, why, stocks[line.pk]))
    return needs


def _crashed_lines() -> dict[int, str]:
    """Return why each line needs help that has crashed tubs and no open tub left."""
    tubs = Culture.objects.filter(Q(crashed_on__isnull=False) | Q(closed_on=None)).order_by("number")
    crashed: dict[int, list[str]] = defaultdict(list)
    alive = set()
    for line_id, number, crashed_on in tubs.values_list("line_id", "number", "crashed_on"):
        if crashed_on:
            crashed[line_id].append(str(number))
        else:
            alive.add(line_id)
    return {
        line_id: f"tub{'s' if len(numbers) > 1 else ''} {' and '.join(numbers)} crashed, and the line has no other"
        for line_id, numbers in crashed.items()
        if line_id not in alive
    }


def _need(stock: LineStock) -> str:
    short = [f"short by {stage.short} {name}" for name, stage in stock.stages.items() if stage.short]
    if short:
        return f"{' and '.join(short)}: promises without cover"
    adults = stock.stages.get(Stage.ADULTS)
    counted = adults and adults.counted_on and not adults.is_stale
    low = f"only {adults.lower} adults are sure, and {adults.kept_back} must stay" if counted else ""
    if should_freeze(stock):
        return f"{low}; it cannot be bought again, so freeze it"
    return low if counted and adults.lower < adults.kept_back else ""


def _holds(now: datetime) -> QuerySet[Order]:
    return Order.objects.filter(status=Order.Status.HELD, held_until__lte=now + HOLD_ENDS_WITHIN).select_related(
        "person"
    )


def _is_recent(seen_at: datetime, on: date) -> bool:
    return (on - _day(seen_at)).days < LOOKED_AFTER_DAYS


def _day(moment: datetime) -> date:
    return timezone.localdate(moment)


def _ago(moment: datetime, on: date) -> str:
    days = (on - _day(moment)).days
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
