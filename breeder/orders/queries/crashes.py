"""All that a crash asks: what left the tub and to whom, its sisters, promises without cover, who has the line."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from breeder.cultures import entry_text
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.related_tubs import Sister, left_since, sisters_of
from breeder.orders.models import OrderLine
from breeder.orders.queries.line_customers import Handed, WhoHas, handed_of_line, handed_of_tub, who_has
from breeder.orders.queries.promises import PromisedStage, PromiseRow, promises_of_line
from breeder.orders.rules.crash_notices import Letter, crash_letter

# What left earlier is hardly touched by what killed the tub now (common practice, no source).
LOOKED_BACK = timedelta(days=60)
WAITING, PACKED = "waiting", "packed"
HERE = (WAITING, PACKED)


@dataclass(frozen=True)
class Left:
    """Something that left the tub, in words, and the order that it was for."""

    entry: Entry
    said: str
    line: OrderLine | None


@dataclass(frozen=True)
class Box:
    """A box that still stands here and is to take animals out of the tub; or took them, when it is packed."""

    number: int
    person: str
    many: int
    is_packed: bool


@dataclass(frozen=True)
class Crash:
    """What the page of a crash shows."""

    tub: Culture
    days: int
    left: tuple[Left, ...]
    sisters: tuple[Sister, ...]
    short: tuple[PromisedStage, ...]
    named: tuple[PromiseRow, ...]
    boxes: tuple[Box, ...]
    who: WhoHas
    letters: tuple[Letter, ...]

    @property
    def gone(self) -> int:
        """Return how many left the tub, counted one by one or tipped over."""
        return sum(-(one.entry.number or 0) for one in self.left)


def crash_of(tub: Culture, trade_name: str, now: datetime) -> Crash:
    """Return what there is to know and to do about a tub that crashed."""
    since = now - LOOKED_BACK
    _, stages = promises_of_line(tub.line_id, now)
    handed = [one for one in handed_of_tub(tub.pk, since) if not one.is_removed]
    return Crash(
        tub=tub,
        days=LOOKED_BACK.days,
        left=tuple(_left(tub, since)),
        sisters=tuple(sister for sister in sisters_of(tub) if sister.is_open),
        short=tuple(stage for stage in stages if stage.stock.short),
        named=tuple(row for stage in stages for row in stage.rows if row.promise.culture_id == tub.pk),
        boxes=tuple(_boxes(tub)),
        who=who_has(handed_of_line(tub.line_id)),
        letters=tuple(_letters(tub, handed, trade_name)),
    )


def _boxes(tub: Culture) -> list[Box]:
    """The rooms that pack are on a higher floor; what they plan to take out of a tub is known by name only."""
    items = tub.parcel_items.filter(parcel__status__in=HERE).order_by("parcel__number")  # type: ignore[attr-defined]
    return [
        Box(
            item.parcel.number,
            item.parcel.order.person.name,
            item.planned if item.packed is None else item.packed,
            item.parcel.status == PACKED,
        )
        for item in items.select_related("parcel__order__person")
    ]


def _left(tub: Culture, since: datetime) -> list[Left]:
    rows = left_since(tub, since)
    promises = [entry.promise_id for entry, _ in rows if entry.promise_id]
    lines = OrderLine.objects.filter(promise__in=promises).select_related("order__person")
    by_promise = {line.promise_id: line for line in lines}
    return [Left(entry, entry_text.sentence_of(entry, to), by_promise.get(entry.promise_id)) for entry, to in rows]


def _letters(tub: Culture, handed: list[Handed], trade_name: str) -> list[Letter]:
    by_person: dict[int, list[Handed]] = {}
    for one in handed:
        by_person.setdefault(one.person.pk, []).append(one)
    return [
        crash_letter(rows[0].person, [(one.at, one.said) for one in rows], tub, trade_name)
        for rows in by_person.values()
    ]
