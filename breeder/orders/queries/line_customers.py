"""Who got animals of a line or out of a tub, when and how many, as the ledger and the boxes tell it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from breeder.cultures.models import Entry
from breeder.cultures.phrases import animals
from breeder.cultures.tub_ledger import void_ids
from breeder.orders.models import Order, OrderLine
from breeder.people.models import Person

SENT = "sent"  # the rooms that pack are on a higher floor; a box that left is known by this word


@dataclass(frozen=True)
class Handed:
    """Animals that went to one person at one time; `tub` is the number of the tub they came out of, if it is known."""

    at: datetime
    order: Order
    stage: str
    number: int
    males: int = 0
    females: int = 0
    tub: int | None = None

    @property
    def person(self) -> Person:
        return self.order.person

    @property
    def is_removed(self) -> bool:
        """Return whether the person asked to be taken out of the book."""
        return self.person.removed_at is not None

    @property
    def said(self) -> str:
        """Return '12 young', '3 adults (1 male, 2 females)'."""
        told = animals(self.number, self.stage)
        sexes = [animals(many, sex) for many, sex in ((self.males, "males"), (self.females, "females")) if many]
        return f"{told} ({', '.join(sexes)})" if sexes else told


def handed_of_line(line_id: int) -> list[Handed]:
    """Return everything of a line that went to somebody, latest first; what was put right is left out."""
    packed = Entry.objects.filter(culture__line_id=line_id)
    lines = OrderLine.objects.filter(offer__line_id=line_id, parcel_items__culture=None, parcel_items__packed__gt=0)
    loose = lines.select_related("order__person", "offer").prefetch_related("parcel_items__parcel").distinct()
    found = [*_packed(packed), *(one for line in loose for one in _loose(line))]
    return sorted(found, key=lambda one: (one.at, one.order.number), reverse=True)


def handed_of_tub(culture_id: int, since: datetime) -> list[Handed]:
    """Return what went out of one tub to somebody since a moment, latest first."""
    return _packed(Entry.objects.filter(culture_id=culture_id, happened_at__gte=since))


def _packed(entries: Any) -> list[Handed]:
    rows = list(
        entries.filter(kind=Entry.Kind.CHANGE, reason=Entry.Reason.PACKED, promise__order_line__isnull=False)
        .select_related("culture", "promise__order_line__order__person")
        .order_by("-happened_at", "-pk")
    )
    tubs = {row.culture_id for row in rows}
    void = void_ids(Entry.objects.filter(culture_id__in=tubs, kind=Entry.Kind.CORRECT).only("pk", "corrects_id"))
    return [_handed(row) for row in rows if row.pk not in void]


def _handed(entry: Entry) -> Handed:
    number, males, females = (-(part or 0) for part in (entry.number, entry.males, entry.females))
    order = entry.promise.order_line.order  # type: ignore[union-attr]
    return Handed(entry.happened_at, order, entry.stage, number, males, females, entry.culture.number)


def _loose(line: OrderLine) -> list[Handed]:
    """A box that left with animals of no named tub: the ledger of no tub knows of them, the box does."""
    return [
        Handed(item.parcel.sent_at, line.order, line.offer.stage, item.packed, item.males, item.females)
        for item in line.parcel_items.all()
        if item.culture_id is None and item.packed and item.parcel.status == SENT
    ]


@dataclass(frozen=True)
class WhoHas:
    """Who has animals of a line; people who asked to be removed are counted and not named."""

    handed: tuple[Handed, ...]
    removed: int

    @property
    def people(self) -> int:
        return len({one.person.pk for one in self.handed})

    @property
    def last(self) -> Handed | None:
        return self.handed[0] if self.handed else None

    @property
    def lede(self) -> str:
        """Return how many people have the line, and since when, as a sentence."""
        if not self.handed and not self.removed:
            return "Nobody has this line from you yet."
        many = "1 person has" if self.people == 1 else f"{self.people} people have"
        gone = "1 who asked to be removed is" if self.removed == 1 else f"{self.removed} who asked to be removed are"
        return f"{many} this line from you.{f' {gone} not shown.' if self.removed else ''}"


def who_has(handed: Iterable[Handed]) -> WhoHas:
    """Return who has what was handed over, latest first, without people who asked to be removed."""
    rows = list(handed)
    removed = {one.person.pk for one in rows if one.is_removed}
    return WhoHas(tuple(one for one in rows if not one.is_removed), len(removed))
