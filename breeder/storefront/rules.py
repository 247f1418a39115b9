"""The row of a line on the for-sale page, and the words the public reads instead of numbers. Pure."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from breeder.base.dates import day_said
from breeder.base.formatting import ago
from breeder.cultures.count_entry import NAMES
from breeder.cultures.line_stock import StageStock
from breeder.cultures.phrases import animals
from breeder.orders.models import Offer
from breeder.orders.queries.orders import LineOnOffer
from breeder.orders.rules.packs import Availability, availability
from breeder.species.models import Line

# From this age on, a row says that an old count sells less (keeper default, common practice, no source).
OLD_COUNT_DAYS = 60


@dataclass(frozen=True)
class ForSaleRow:
    """One line on the keeper's page as of a day; the page sorts by the numbers and shows the texts."""

    on_offer: LineOnOffer
    today: date

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
    def others(self) -> tuple[StageStock, ...]:
        """Return the other stages of the line that have any tub."""
        stages = self.on_offer.stock.stages.values()
        return tuple(stage for stage in stages if stage is not self.stage and stage.tubs)

    @property
    def free(self) -> int:
        """Return how many are free of the stage that the line is sold as; negative if it is short."""
        if self.stage is None:
            return 0
        return -self.stage.short if self.stage.short else self.stage.free

    @property
    def free_text(self) -> str:
        """Return '64 young', 'no cups', 'short by 6'."""
        if self.stage is None:
            return "none"
        return f"short by {self.stage.short}" if self.stage.short else animals(self.stage.free, self.stage.stage)

    @property
    def packs(self) -> int:
        return self.on_offer.best.packs if self.on_offer.best else 0

    @property
    def price(self) -> Decimal | None:
        return self.on_offer.best.offer.price if self.on_offer.best else None

    @property
    def price_text(self) -> str:
        """Return the price of the leading pack as text; a dash where no pack is offered."""
        if self.on_offer.best is None:
            return "–"
        return "on request" if self.price is None else f"{self.price:.2f}"

    @property
    def counted_on(self) -> date | None:
        return self.stage.counted_on if self.stage else None

    @property
    def counted_text(self) -> str:
        """Return when and how the line was last counted, and what that means for selling it."""
        if self.stage is None or self.counted_on is None:
            return "never looked at" if self.by_cup else self._never_counted
        # A tub that only received animals has the day of the count that came with them, and no method.
        how = NAMES.get(self.stage.method, self.stage.method)
        text = ago(self.counted_on, self.today) + (f", {how}" if how else "")
        if self.by_cup:
            return f"looked {ago(self.counted_on, self.today)}"
        if self.stage.is_stale:
            return f"{text}: too old to sell from, count again"
        return f"{text}: an old count sells less" if self.is_old else text

    @property
    def _never_counted(self) -> str:
        tubs = self.stage.tubs if self.stage else ()
        if not any(tub.lower for tub in tubs):
            return "never counted, so nothing is sold"
        never = [tub.number for tub in tubs if tub.counted_on is None]
        which = f"tub {never[0]}" if len(never) == 1 else f"{len(never)} tubs"
        return f"{which} never counted: only what was put in is known"

    @property
    def is_old(self) -> bool:
        return self.counted_on is not None and (self.today - self.counted_on).days >= OLD_COUNT_DAYS

    @property
    def by_cup(self) -> bool:
        return self.line.sold_by == Line.SoldBy.CUP

    @property
    def instead_of_bar(self) -> str:
        """Return the text shown where a bar would be empty: for cups, and where no count can be relied on."""
        if self.by_cup or self.stage is None:
            return self.cups_text
        nothing = not self.stage.lower and not self.stage.doubt and not self.stage.promised
        return "nothing that is safe to rely on" if nothing else ""

    @property
    def cups_text(self) -> str:
        """Return '4 cups rested, 1 promised, next cup in 9 days'."""
        if self.stage is None:
            return ""
        text = f"{animals(self.stage.lower, self.stage.stage)} rested"
        if self.stage.promised:
            text += f", {self.stage.promised} promised"
        return f"{text}, next cup {ago(self.stage.next_cup_on, self.today)}" if self.stage.next_cup_on else text

    @property
    def note(self) -> str:
        """Return the small print under the line's name."""
        tubs = len(self.stage.tubs) if self.stage else 0
        parts = ["no tub counted" if not tubs else f"{tubs} {'tub' if tubs == 1 else 'tubs'}"]
        if self.by_cup:
            parts.append("sold by the cup")
        if self.line.irreplaceable:
            parts.append("cannot be bought again")
        if self.line.frozen_because:
            parts.append(f"frozen: {self.line.frozen_because}")
        if self.line.not_for_sale:
            parts.append(f"not for sale: {self.line.not_for_sale}")
        elif self.line.resting_until and self.line.resting_until > self.today:
            parts.append(f"resting until {day_said(self.line.resting_until)}")
        if not self.on_offer.packs:
            parts.append("no pack offered")
        return " · ".join(parts)


@dataclass(frozen=True)
class PublicPack:
    """One pack as the public sees it."""

    offer: Offer
    availability: Availability


@dataclass(frozen=True)
class PublicLine:
    """One line as the public sees it: no numbers of animals, no tubs, no shelf."""

    line: Line
    packs: tuple[PublicPack, ...]

    @property
    def is_available(self) -> bool:
        return any(pack.availability != Availability.NONE for pack in self.packs)


def public_line(on_offer: LineOnOffer, few_below: int) -> PublicLine:
    """Return a line as the public sees it."""
    return PublicLine(
        on_offer.line, tuple(PublicPack(free.offer, availability(free, few_below)) for free in on_offer.packs)
    )


def for_sale_text(lines: list[PublicLine], currency: str, *, prices: bool) -> str:
    """Return the list to paste into a message: one pack per line, only what is available."""
    return "\n".join(
        f"{public.line}: {pack.offer.pack}{_priced(pack.offer, currency) if prices else ''}"
        f"{' (few)' if pack.availability == Availability.FEW else ''}"
        for public in lines
        for pack in public.packs
        if pack.availability != Availability.NONE
    )


def _priced(offer: Offer, currency: str) -> str:
    return ", price on request" if offer.price is None else f", {offer.price:.2f} {currency}"
