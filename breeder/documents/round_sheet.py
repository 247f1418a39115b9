"""Draw the round sheet: tubs in shelf order with room to write counts, for hands too wet for a phone."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer

from breeder.documents.page_frame import BIG, BODY, GROUND, SMALL, SOFT, Sheet, style, table
from breeder.documents.printed_names import Name

WIDTHS = [22 * mm, 0, 24 * mm, 24 * mm, 24 * mm, 62 * mm, 18 * mm, 40 * mm]
HEADS = ["Tub", "Line", "Last counted", "Adults", "Young", "Seen (tick)", "Dead", "Note"]
HEADS_OF_CUPS = "cups, no count"
SEEN = ("well", "young", "mancae", "pouches", "mould", "mites", "dry")
ROW_HEIGHT = 11 * mm


@dataclass(frozen=True)
class RoundRow:
    """One tub of the round; earlier counts are left out on purpose, so that they don't sway the new guess."""

    tub: int
    shelf: str
    name: Name
    purpose: str
    counted: str
    by_cup: bool = False


def round_sheet(rows: Sequence[RoundRow], sheet: Sheet) -> bytes:
    """Return the sheet as a PDF; rows come in shelf order."""
    printed: list[list[object]] = [[sheet.text(head, SMALL + 1, color=SOFT) for head in HEADS]]
    looks: list[tuple[object, ...]] = [("VALIGN", (0, 1), (-1, -1), "MIDDLE")]
    for shelf, tubs in groupby(rows, key=lambda row: row.shelf):
        at = len(printed)
        printed.append([sheet.text(f"Shelf {shelf}", BIG, bold=True), *[""] * (len(HEADS) - 1)])
        looks += [
            ("SPAN", (0, at), (-1, at)),
            ("NOSPLIT", (0, at), (0, at + 1)),
            ("BACKGROUND", (0, at), (-1, at), GROUND),
        ]
        printed += [_row(row, sheet) for row in tubs]
    looks += [("LINEBEFORE", (3, 1), (7, -1), 0.5, SOFT)]
    widths = [width or sheet.width - sum(WIDTHS) for width in WIDTHS]
    line = sheet.text("Day ____________________     By ____________________", BODY + 1)
    story: list[Flowable] = [line, Spacer(0, 4 * mm), table(printed, widths, more=looks)]
    return sheet.print(story)


def _row(row: RoundRow, sheet: Sheet) -> list[object]:
    ink = sheet.ink
    name = row.name.whole(ink)
    if row.purpose:
        name += f"<br/><font size='{SMALL}' color='#57605a'>{ink(row.purpose)}</font>"
    ticks = "&nbsp; ".join(f"☐&nbsp;{seen}" for seen in SEEN)
    return [
        sheet.number(row.tub, WIDTHS[0]),
        Paragraph(name, style()),
        sheet.text(row.counted, SMALL + 1),
        sheet.text(HEADS_OF_CUPS, SMALL, color=SOFT) if row.by_cup else "",
        "",
        Paragraph(ticks, style(SMALL + 1)),
        "",
        "",
    ]
