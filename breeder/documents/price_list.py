"""Draw the price list for the table at a show: packs, prices and availability in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer

from breeder.documents.page_frame import BIG, RULE, SMALL, SOFT, Sheet, right, style, table
from breeder.documents.printed_names import Name

WIDTHS = [0, 48 * mm, 34 * mm, 26 * mm]
HEADS = ["Line", "Pack", "Price", ""]
# The packs of one line stay on one page, unless there are very many.
TOGETHER_AT_MOST = 8
ON_REQUEST = "price on request"


@dataclass(frozen=True)
class PricedPack:
    """One pack of one line on the list."""

    group: str
    name: Name
    common: str
    pack: str
    price: str
    available: str


def price_list(offers: Sequence[PricedPack], gone: Sequence[Name], sheet: Sheet) -> bytes:
    """Return the list as a PDF; `gone` are lines with nothing free right now."""
    story: list[Flowable] = [_table(offers, sheet)] if offers else []
    if gone:
        names = "; ".join(name.whole(sheet.ink) for name in gone)
        story += [Spacer(0, 6 * mm), Paragraph(f"Not available just now: {names}.", style(color=SOFT))]
    return sheet.print(story)


def _table(offers: Sequence[PricedPack], sheet: Sheet) -> Flowable:
    rows: list[list[Flowable]] = [[sheet.text(head, SMALL + 1, color=SOFT) for head in HEADS]]
    rows[0][2] = sheet.text(HEADS[2], SMALL + 1, color=SOFT, alignment=2)
    looks: list[tuple[object, ...]] = [("LEFTPADDING", (-1, 0), (-1, -1), 4 * mm)]
    for group, priced in groupby(offers, key=lambda offer: offer.group):
        at = len(rows)
        rows.append([sheet.text(group, BIG, bold=True), *[sheet.text("")] * (len(HEADS) - 1)])
        looks += [("SPAN", (0, at), (-1, at)), ("NOSPLIT", (0, at), (0, at + 1)), ("TOPPADDING", (0, at), (-1, at), 12)]
        for name, packs in groupby(priced, key=lambda offer: offer.name):
            first = len(rows)
            rows += [_row(offer, "" if nth else name, sheet) for nth, offer in enumerate(packs)]
            looks.append(("LINEABOVE", (0, first), (-1, first), 0.5, RULE))
            if len(rows) - first <= TOGETHER_AT_MOST:
                looks.append(("NOSPLIT", (0, first), (0, len(rows) - 1)))
    widths = [width or sheet.width - sum(WIDTHS) for width in WIDTHS]
    return table(rows, widths, ruled=False, more=[("VALIGN", (0, 0), (-1, -1), "TOP"), *looks])


def _row(offer: PricedPack, name: Name | str, sheet: Sheet) -> list[Flowable]:
    ink = sheet.ink
    shown = name.whole(ink) if isinstance(name, Name) else ""
    if shown and offer.common:
        shown += f"<br/><font size='{SMALL}' color='#57605a'>{ink(offer.common)}</font>"
    return [
        Paragraph(shown, style()),
        Paragraph(ink(offer.pack), style()),
        Paragraph(ink(offer.price or ON_REQUEST, bold=bool(offer.price)), right()),
        Paragraph(ink(offer.available), style()),
    ]
