"""Read what can be sold, in a fixed number of queries."""

from datetime import date

from breeder.orders.queries.orders import lines_on_offer
from breeder.storefront.rules import ForSaleRow, PublicLine, public_line


def rows(today: date, *, find: str = "", group: str = "", only_free: bool = False) -> list[ForSaleRow]:
    """Return every open line, or those asked for."""
    wanted = find.casefold()
    every = (ForSaleRow(on_offer, today) for on_offer in lines_on_offer())
    return [
        row
        for row in every
        if (not find or wanted in f"{row.name} {row.line.species.vernacular_name}".casefold())
        and (not group or row.line.species.group == group)
        and (not only_free or row.free > 0)
    ]


def public_lines(few_below: int) -> list[PublicLine]:
    """Return the lines of the public list: those with a public pack and for sale, available ones first."""
    lines = [
        public_line(on_offer, few_below)
        for on_offer in lines_on_offer(only_public=True)
        if on_offer.packs and not on_offer.line.not_for_sale
    ]
    return sorted(lines, key=lambda public: not public.is_available)
