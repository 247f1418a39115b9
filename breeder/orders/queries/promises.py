"""Who is promised what of a line, in the order paid, then made, with what can be done about each while it is short."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from breeder.core.reserve.allocation import CoveredPromise
from breeder.cultures.line_stock import LineStock, StageStock, TubStock
from breeder.cultures.models import Promise
from breeder.cultures.phrases import animals
from breeder.cultures.promise_queue import Waiting, waiting_for
from breeder.cultures.queries.stock import held_promises, stock_of
from breeder.orders.models import Order, OrderLine
from breeder.orders.rules.crash_notices import Letter, wait_letter

# A count this young would hardly show anything else (common practice, no source).
FRESH = timedelta(days=7)


@dataclass(frozen=True)
class PromiseRow:
    """One promise, what is there for it, whose it is, and the tubs that could give it."""

    promise: Promise
    covered: int
    missing: int
    line: OrderLine | None
    tubs: tuple[TubStock, ...]

    @property
    def order(self) -> Order | None:
        return self.line.order if self.line else None

    def letter(self, trade_name: str) -> Letter | None:
        """Return what to ask the person while some of it is missing; None where nothing is."""
        if self.line is None or not self.missing:
            return None
        held, line = animals(self.promise.number, self.promise.stage), self.line.offer.line
        return wait_letter(self.line.order.person, held, self.missing, line, trade_name)

    @property
    def may_move(self) -> bool:
        """Return whether another tub, or any tub, may be named for it."""
        return self.line is not None and (bool(self.tubs) or self.promise.culture_id is not None)


@dataclass(frozen=True)
class PromisedStage:
    """One stage of a line with its promises in their order, and what can be done while it is short."""

    stock: StageStock
    rows: tuple[PromiseRow, ...]
    choices: tuple[str, ...]
    to_count: tuple[TubStock, ...]

    @property
    def there(self) -> int:
        """Return what is there above the number that stays."""
        return max(0, self.stock.lower - self.stock.kept_back)


def promises_of_line(line_id: int, now: datetime) -> tuple[LineStock, tuple[PromisedStage, ...]]:
    """Return what a line can spare, and the stages of it that hold promises or are short of them."""
    stock = stock_of(line_id)
    held = held_promises(now).filter(line_id=line_id)
    promises = list(held.select_related("culture", "order_line__order__person", "order_line__offer__line__species"))
    today = timezone.localdate(now)
    stages = [_stage(stage, waiting_for(stage, promises), today) for stage in reversed(stock.stages.values())]
    return stock, tuple(stage for stage in stages if stage.rows)


def _stage(stock: StageStock, waiting: Waiting, today: date) -> PromisedStage:
    rows = tuple(_row(one, stock) for one in waiting.covered)
    return PromisedStage(stock, rows, waiting.choices, _to_count(stock, today) if stock.short else ())


def _to_count(stock: StageStock, today: date) -> tuple[TubStock, ...]:
    """Return the tubs whose count may show more: those that might give, the oldest count first."""
    tubs = [tub for tub in stock.tubs if (tub.gives or tub.is_stale) and tub.counted_on]
    old = [tub for tub in tubs if tub.counted_on and today - tub.counted_on >= FRESH]
    return tuple(sorted(old, key=lambda tub: (tub.counted_on, tub.number)))


def _row(one: CoveredPromise, stock: StageStock) -> PromiseRow:
    promise: Promise = one.promise.ref
    line = promise.order_line if hasattr(promise, "order_line") else None
    tubs = (tub for tub in stock.tubs if tub.gives and tub.free_alone >= promise.number)
    others = tuple(tub for tub in tubs if tub.culture_id != promise.culture_id)
    return PromiseRow(promise, one.covered, one.missing, line, others)
