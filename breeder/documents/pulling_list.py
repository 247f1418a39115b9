"""Draw the pulling list: which tubs to visit, in shelf order, and what to take from each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer

from breeder.cultures.phrases import animals
from breeder.documents.drawn_signs import TickBox
from breeder.documents.page_frame import BIG, HUGE, SMALL, SOFT, Sheet, centered, style, table
from breeder.documents.printed_names import Name
from breeder.documents.rules import sexes

WIDTHS = [10 * mm, 21 * mm, 19 * mm, 0, 35 * mm, 15 * mm, 16 * mm]
HEADS = ["", "Tub", "Shelf", "Line", "Take", "Cups", "Box"]
CENTRED = ("Cups", "Box")


@dataclass(frozen=True)
class PullRow:
    """What to take from one tub for one box; no tub means that none is chosen yet."""

    tub: int | None
    shelf: str
    place: int
    name: Name
    stage: str
    number: int
    males: int
    females: int
    cups: int
    box: int

    @property
    def walk(self) -> tuple[bool, str, int, int, int]:
        """Return the key that puts pulls in the order of a walk along the shelves, tubs not chosen last."""
        return (self.tub is None, self.shelf, self.place, self.tub or 0, self.box)


def pulling_list(pulls: Sequence[PullRow], sheet: Sheet) -> bytes:
    """Return the list as a PDF."""
    walk = sorted(pulls, key=lambda pull: pull.walk)
    widths = [width or sheet.width - sum(WIDTHS) for width in WIDTHS]
    heads = [sheet.text(head, SMALL + 1, color=SOFT, alignment=1 if head in CENTRED else 0) for head in HEADS]
    story: list[Flowable] = [table([heads, *(_row(pull, sheet) for pull in walk)], widths), Spacer(0, 4 * mm)]
    open_tubs = sum(pull.tub is None for pull in walk)
    if open_tubs:
        which = "1 row names" if open_tubs == 1 else f"{open_tubs} rows name"
        story.append(
            sheet.text(f"{which} no tub yet. Choose one on the page of the box, or write it in here.", bold=True)
        )
    story.append(sheet.text(_together(walk)))
    return sheet.print(story)


def _row(pull: PullRow, sheet: Sheet) -> list[Any]:
    ink = sheet.ink
    return [
        TickBox(5 * mm),
        *_tub(pull, sheet),
        Paragraph(pull.name.whole(ink), style()),
        _taken(pull, sheet),
        # No cup of their own: these animals join those of the same pack from another tub.
        Paragraph(str(pull.cups), centered(BIG)) if pull.cups else Paragraph("shared", centered(SMALL)),
        Paragraph(str(pull.box), centered(BIG, bold=True)),
    ]


def _tub(pull: PullRow, sheet: Sheet) -> list[Flowable]:
    if pull.tub is None:
        return [sheet.text("____", HUGE), sheet.text("____")]
    place = f"<font size='{SMALL}' color='#57605a'>place {pull.place}</font>"
    return [sheet.number(pull.tub, WIDTHS[1]), Paragraph(f"{sheet.ink(pull.shelf)}<br/>{place}", style())]


def _taken(pull: PullRow, sheet: Sheet) -> list[Flowable]:
    parts: list[Flowable] = [sheet.text(animals(pull.number, pull.stage), BIG, bold=True)]
    if by_sex := sexes(pull.number, pull.males, pull.females):
        parts.append(sheet.text(by_sex))
    return parts


def _together(pulls: Sequence[PullRow]) -> str:
    heads = sum(pull.number for pull in pulls if pull.stage != "cups")
    cups = sum(pull.cups for pull in pulls)
    tubs = len({pull.tub for pull in pulls if pull.tub is not None})
    opened = f"{tubs} tub{'' if tubs == 1 else 's'} to open"
    return f"Together: {opened}, {animals(heads, 'animals')}, {animals(cups, 'cups')}."
