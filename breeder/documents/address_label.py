"""The label on the address side of a box.

USPS Publication 52, sections 522.3 and 524, asks for a complete return address, the contents and the delivery period.
Other carriers ask for other things, so the service's own marking is printed unchanged.
"""

from dataclasses import dataclass
from io import BytesIO

from reportlab.lib.colors import black, white
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph

from breeder.documents.drawn_signs import ThisWayUp
from breeder.documents.label_grid import Field, fit
from breeder.documents.page_frame import BIG, BODY, SMALL, Sheet, blank, centered, right, style

SIZE = (100 * mm, 150 * mm)
PADDING = 5 * mm
BAND_HEIGHT = 13 * mm
ARROWS_HEIGHT = 20 * mm
LINES_TO_WRITE = 4
LINE_GAP = 9 * mm


@dataclass(frozen=True)
class AddressLabel:
    """What the address side shows; an empty address leaves lines to write on."""

    box: int
    sender: str
    consignee: str
    has_address: bool
    has_return: bool
    contents: str
    deliver_by: str
    service: str
    hold_for_pickup: bool
    marking: str


def address_label(label: AddressLabel, sheet: Sheet) -> bytes:
    """Return one label of 100 × 150 mm."""
    file = BytesIO()
    canvas = blank(file, SIZE, title=sheet.title, author=sheet.trade_name)
    whole = Field(0, 0, *SIZE).inside(PADDING, PADDING, PADDING, PADDING)
    head = Field(whole.x, whole.y + 116 * mm, whole.width, 24 * mm)
    to = Field(whole.x, whole.y + 66 * mm, whole.width, 48 * mm)
    band = Field(whole.x, whole.y + 51 * mm, whole.width, BAND_HEIGHT)
    foot = Field(whole.x, whole.y, whole.width, 49 * mm)
    _head(canvas, label, head, sheet)
    _consignee(canvas, label, to, sheet)
    _band(canvas, band)
    _foot(canvas, label, foot, sheet)
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _head(canvas: Canvas, label: AddressLabel, field: Field, sheet: Sheet) -> None:
    sender = [sheet.text("From", SMALL), sheet.text(label.sender, BODY)]
    fit(canvas, sender, field.inside(0, 1 * mm if label.has_return else 13 * mm, 30 * mm, 0))
    if not label.has_return:
        _lines(canvas, Field(field.x, field.y + 4 * mm, field.width - 30 * mm, 0), 2, 6 * mm)
    fit(canvas, [Paragraph(f"box {label.box}", right(BIG, bold=True))], field.inside(field.width - 28 * mm, 0, 0, 0))
    canvas.setStrokeColor(black)
    canvas.setLineWidth(1)
    canvas.line(field.x, field.y, field.x + field.width, field.y)


def _consignee(canvas: Canvas, label: AddressLabel, field: Field, sheet: Sheet) -> None:
    inner = field.inside(4 * mm, 1 * mm, 0, 1 * mm)
    parts: list[Flowable] = [sheet.text("To", SMALL), sheet.text(label.consignee, BIG + 4)]
    if label.has_address:
        fit(canvas, parts, inner)
        return
    fit(canvas, parts, inner.inside(0, LINE_GAP * LINES_TO_WRITE, 0, 0))
    _lines(canvas, inner.inside(0, 2 * mm, 0, 0), LINES_TO_WRITE, LINE_GAP)


def _lines(canvas: Canvas, field: Field, number: int, gap: float) -> None:
    """Draw lines to write on, from the field's lower edge up."""
    canvas.setStrokeColor(black)
    canvas.setLineWidth(0.5)
    for line in range(number):
        canvas.line(field.x, field.y + line * gap, field.x + field.width, field.y + line * gap)


def _band(canvas: Canvas, field: Field) -> None:
    canvas.setFillColor(black)
    canvas.rect(field.x, field.y, field.width, field.height, stroke=0, fill=1)
    fit(canvas, [Paragraph("LIVE ANIMALS", centered(26, bold=True, color=white))], field.inside(0, 1 * mm, 0, 0.5 * mm))


def _foot(canvas: Canvas, label: AddressLabel, field: Field, sheet: Sheet) -> None:
    arrows = ThisWayUp(ARROWS_HEIGHT)
    arrows.drawOn(canvas, field.x + field.width - arrows.width, field.y)
    due = sheet.ink(label.deliver_by, bold=True) or "_" * 16
    parts: list[Flowable] = [
        sheet.text(label.contents, BIG, bold=True, spaceAfter=4),
        Paragraph(f"Deliver or return by {due}", style(BIG, spaceAfter=4)),
    ]
    if label.hold_for_pickup:
        parts.append(sheet.text("HOLD FOR PICKUP", BIG, bold=True, spaceAfter=4))
    fit(canvas, parts, field.inside(0, ARROWS_HEIGHT + 1 * mm, 0, 0))
    low = [sheet.text(words, BODY, spaceAfter=2) for words in (label.marking, label.service) if words]
    low.append(sheet.text("Perishable. Keep from sun, heat and frost.", BODY))
    if warning := sheet.ink.warning():
        low.append(sheet.text(warning, SMALL))
    fit(canvas, low, Field(field.x, field.y, field.width - arrows.width - 4 * mm, ARROWS_HEIGHT))
