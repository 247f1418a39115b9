"""Draw cup labels, one for each cup of a box."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from breeder.documents.label_grid import CUPS_A4, CUPS_LETTER, Field, fit, label_pages
from breeder.documents.page_frame import BIG, BODY, SMALL, Sheet, right, style
from breeder.documents.printed_names import Name

PADDING = 5 * mm
FOOT_HEIGHT = 4 * mm
COUNT_HEIGHT = 8 * mm


@dataclass(frozen=True)
class Cup:
    """What one cup's label says."""

    name: Name
    count: str
    sexes: str
    which: str
    on: str
    box: int


def cup_labels(cups: Sequence[Cup], sheet: Sheet) -> bytes:
    """Return sheets of labels."""
    return label_pages(cups, CUPS_LETTER if sheet.us_letter else CUPS_A4, sheet, _label)


def _label(canvas: Canvas, cup: Cup, field: Field, sheet: Sheet) -> None:
    ink = sheet.ink
    inner = field.inside(PADDING, PADDING - 1 * mm, PADDING, PADDING - 1 * mm)
    foot = Field(inner.x, inner.y, inner.width, FOOT_HEIGHT)
    count = Field(inner.x, inner.y + FOOT_HEIGHT, inner.width, COUNT_HEIGHT)
    name = inner.inside(0, FOOT_HEIGHT + COUNT_HEIGHT, 0, 0)
    fit(canvas, [Paragraph(cup.name.whole(ink), style(BODY + 1))], name)
    counted = f"<font size='{BIG}'>{ink(cup.count, bold=True)}</font>"
    fit(
        canvas,
        [Paragraph(counted + (f"&nbsp;&nbsp; {ink(cup.sexes)}" if cup.sexes else ""), style(leading=BIG))],
        count,
    )
    fit(canvas, [Paragraph(ink(" · ".join(part for part in (cup.on, cup.which) if part)), style(SMALL))], foot)
    fit(canvas, [Paragraph(ink(f"box {cup.box}"), right(SMALL))], foot)
