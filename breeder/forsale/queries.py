"""What may be sold, as the keeper's page, the public list and the lists to paste show it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from breeder.cultures.counting import NAMES
from breeder.cultures.stock import StageStock
from breeder.orders.models import Offer
from breeder.orders.queries import LineOnOffer, lines_on_offer
from breeder.orders.rules import OfferFree
from breeder.taxa.models import Line

OLD_COUNT_DAYS = 60  # from here on the page says that an old count sells less


class Availability(StrEnum):
    """What the public reads instead of numbers."""

    AVAILABLE = "available"
    FEW = "few"
    NONE = "none"


@dataclass(frozen=True)
class Row:
    """One line on the keeper's page; numbers are for sorting."""

    on_offer: LineOnOffer

    @property
    def line(self) -> Line:
        return self.on_offer.line

    @property
    def name(self) -> str:
        return str(self.line)

    @property
    def stage(self) -> StageStock | None:
        return self.on_offer.stage

    @property
    def free(self) -> int:
        """Return what is free of the stage that the line is sold as; below 0 what it is short by."""
        if self.stage is None:
            return 0
        return -self.stage.short if self.stage.short else self.stage.free

    @property
    def packs(self) -> int:
        return self.on_offer.best.packs if self.on_offer.best else 0

    @property
    def price(self) -> Decimal | None:
        return self.on_offer.best.offer.price if self.on_offer.best else None

    @property
    def counted_on(self) -> date | None:
        return self.stage.counted_on if self.stage else None

    @property
    def tubs(self) -> int:
        return sum(1 for tub in self.stage.tubs if tub.gives) if self.stage else 0

    @property
    def method(self) -> str:
        return NAMES.get(self.stage.method, self.stage.method) if self.stage else ""

    @property
    def by_cup(self) -> bool:
        return self.line.sold_by == Line.SoldBy.CUP

    def is_old(self, today: date) -> bool:
        return bool(self.counted_on) and (today - self.counted_on).days >= OLD_COUNT_DAYS

    @property
    def others(self) -> tuple[StageStock, ...]:
        """Return the stages that the line is not mostly sold as."""
        stages = self.on_offer.stock.stages.values()
        return tuple(stage for stage in stages if self.stage is None or stage.stage != self.stage.stage)


@dataclass(frozen=True)
class PublicPack:
    """One pack as anybody may see it."""

    offer: Offer
    availability: Availability


@dataclass(frozen=True)
class PublicLine:
    """One line as anybody may see it: no numbers of animals, no tubs, no shelf."""

    line: Line
    packs: tuple[PublicPack, ...]


def rows(*, find: str = "", group: str = "", only_free: bool = False) -> list[Row]:
    """Return every open line, or those asked for; the number of queries does not grow with the lines."""
    found = [Row(on_offer) for on_offer in lines_on_offer()]
    if find:
        wanted = find.casefold()
        found = [row for row in found if wanted in f"{row.name} {row.line.species.vernacular_name}".casefold()]
    if group:
        found = [row for row in found if row.line.species.group == group]
    return [row for row in found if row.free > 0] if only_free else found


def availability(free: OfferFree, few_below: int) -> Availability:
    """Return the word for this many packs."""
    if free.packs <= 0:
        return Availability.NONE
    return Availability.FEW if free.packs < few_below else Availability.AVAILABLE


def public_lines(few_below: int) -> list[PublicLine]:
    """Return what the public list shows: lines with a pack on it, those to be had first."""
    found = [
        PublicLine(
            on_offer.line, tuple(PublicPack(free.offer, availability(free, few_below)) for free in on_offer.packs)
        )
        for on_offer in lines_on_offer(only_public=True)
        if on_offer.packs
    ]
    return sorted(found, key=lambda line: all(pack.availability == Availability.NONE for pack in line.packs))


def as_text(few_below: int, currency: str) -> str:
    """Return the list to paste into a message: one pack a line, what can be had only."""
    lines = []
    for public in public_lines(few_below):
        for pack in public.packs:
            if pack.availability == Availability.NONE:
                continue
            price = "price on request" if pack.offer.price is None else f"{pack.offer.price:.2f} {currency}"
            few = " (few)" if pack.availability == Availability.FEW else ""
            lines.append(f"{public.line}: {pack.offer.pack}, {price}{few}")
    return "\n".join(lines)
