"""Draw tub labels: a large number, and a square code that opens the tub's page."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import black
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from breeder.base.qr import dark_runs, modules
from breeder.documents.fonts import BOLD
from breeder.documents.label_grid import TUBS_A4, TUBS_LETTER, Field, fit, label_pages
from breeder.documents.page_frame import BIG, INK, SMALL, SOFT, Sheet, style
from breeder.documents.printed_names import Name

PADDING = 6 * mm
QR_SIDE = 36 * mm
# The quiet zone of four modules is the label's white: the padding on three sides, this guard on the fourth.
QR_GUARD = 6 * mm
NUMBER_SIZE = 120.0
# Digits of Source Sans are about this share of the type size high.
FIGURE_HEIGHT = 0.66


@dataclass(frozen=True)
class TubCard:
    """What one tub's label says; `code` is what its square code holds."""

    number: int
    name: Name
    since: str
    code: str


def tub_labels(cards: Sequence[TubCard], sheet: Sheet) -> bytes:
    """Return sheets of labels."""
    return label_pages(cards, TUBS_LETTER if sheet.us_letter else TUBS_A4, sheet, _label)


def _label(canvas: Canvas, card: TubCard, field: Field, sheet: Sheet) -> None:
    inner = field.inside(PADDING, PADDING, PADDING, PADDING)
    top = inner.y + inner.height
    _number(canvas, str(card.number), inner.x, top, inner.width - QR_SIDE - QR_GUARD)
    _code(canvas, card.code, inner.x + inner.width - QR_SIDE, top - QR_SIDE)
    words = [
        Paragraph(card.name.whole(sheet.ink), style(BIG + 1, spaceAfter=3)),
        sheet.text(card.since, SMALL, color=SOFT),
    ]
    fit(canvas, words, Field(inner.x, inner.y, inner.width, inner.height - QR_SIDE - 3 * mm))


def _number(canvas: Canvas, number: str, x: float, top: float, width: float) -> None:
    """Draw the number on one line, as large as fits."""
    size = min(NUMBER_SIZE, NUMBER_SIZE * width / stringWidth(number, BOLD, NUMBER_SIZE))
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, size)
    canvas.drawString(x, top - QR_SIDE / 2 - size * FIGURE_HEIGHT / 2, number)


def _code(canvas: Canvas, held: str, x: float, y: float) -> None:
    """Draw a QR code as one shape, with one rectangle for each run of dark modules in a row."""
    rows = modules(held)
    side = QR_SIDE / len(rows)
    shape = canvas.beginPath()
    for nth, row in enumerate(rows):
        for at, length in dark_runs(row):
            shape.rect(x + at * side, y + QR_SIDE - (nth + 1) * side, length * side, side)
    canvas.setFillColor(black)
    canvas.drawPath(shape, stroke=0, fill=1)
