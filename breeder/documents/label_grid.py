"""Lay out labels on a page, and shrink their text until it fits."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any, TypeVar

from reportlab.lib.pagesizes import A4, letter
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from breeder.documents.page_frame import RULE, Sheet, blank

Item = TypeVar("Item")
CUT_LINE = 0.4
# Text that does not fit is tried again this much smaller.
SMALLER = 0.96
NO_END = 10_000


@dataclass(frozen=True)
class Field:
    """A rectangle on paper, in points, measured from the lower left corner."""

    x: float
    y: float
    width: float
    height: float

    def inside(self, left: float, bottom: float, right: float, top: float) -> "Field":
        """Return the rectangle inside these margins."""
        return Field(self.x + left, self.y + bottom, self.width - left - right, self.height - bottom - top)


@dataclass(frozen=True)
class Grid:
    """Labels in columns and rows, centered on the page; plain paper is cut along the lines."""

    page: tuple[float, float]
    columns: int
    rows: int
    width: float
    height: float

    @property
    def on_page(self) -> int:
        return self.columns * self.rows

    def fields(self) -> list[Field]:
        """Return the label fields of one page, row by row from the top."""
        left = (self.page[0] - self.columns * self.width) / 2
        top = (self.page[1] + self.rows * self.height) / 2
        return [
            Field(left + column * self.width, top - (row + 1) * self.height, self.width, self.height)
            for row in range(self.rows)
            for column in range(self.columns)
        ]


# A4: 70 × 37 mm and 105 × 74 mm, sizes that label sheets are sold in. US letter: the sizes that divide the page best.
CUPS_A4, CUPS_LETTER = Grid(A4, 3, 8, 70 * mm, 37 * mm), Grid(letter, 3, 7, 70 * mm, 38 * mm)
TUBS_A4, TUBS_LETTER = Grid(A4, 2, 4, 105 * mm, 74 * mm), Grid(letter, 2, 4, 105 * mm, 68 * mm)


def label_pages(
    items: Sequence[Item], grid: Grid, sheet: Sheet, draw: Callable[[Canvas, Item, Field, Sheet], Any]
) -> bytes:
    """Return pages of labels, one for each item."""
    file = BytesIO()
    canvas = blank(file, grid.page, title=sheet.title, author=sheet.trade_name)
    fields = grid.fields()
    for start in range(0, len(items), grid.on_page):
        for item, field in zip(items[start : start + grid.on_page], fields, strict=False):
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(CUT_LINE)
            canvas.rect(field.x, field.y, field.width, field.height)
            draw(canvas, item, field, sheet)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def fit(canvas: Canvas, parts: Sequence[Flowable], field: Field) -> None:
    """Draw the parts from the top of the field, smaller if they do not fit."""
    scale = 1.0
    while _height(canvas, parts, field.width / scale) * scale > field.height:
        scale *= SMALLER
    canvas.saveState()
    canvas.translate(field.x, field.y + field.height)
    canvas.scale(scale, scale)
    top = 0.0
    for part in parts:
        _, height = part.wrapOn(canvas, field.width / scale, NO_END)
        part.drawOn(canvas, 0, top - height)
        top -= height + part.getSpaceAfter()
    canvas.restoreState()


def _height(canvas: Canvas, parts: Sequence[Flowable], width: float) -> float:
    return sum(part.wrapOn(canvas, width, NO_END)[1] + part.getSpaceAfter() for part in parts)
