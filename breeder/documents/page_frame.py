"""The frame of every PDF: sizes, type, tables, header and footer; equal input gives equal bytes."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from io import BytesIO
from typing import Any

from django.utils import dateformat
from reportlab.lib.colors import HexColor, black
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4, landscape, letter
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph, Spacer, Table, TableStyle

from breeder.documents import drawn_signs
from breeder.documents.fonts import BOLD, REGULAR, register
from breeder.documents.printed_text import Ink

MARGIN = 15 * mm
FOOT = 8 * mm
HEAD = 9 * mm
SMALL, BODY, BIG, HUGE = 8.0, 10.0, 13.0, 20.0
LEADING = 1.22
PADDING = 4  # left and right in a column, points
INK = HexColor("#1e2622")
SOFT = HexColor("#57605a")
RULE = HexColor("#b9b2a2")
GROUND = HexColor("#efebe1")


def style(size: float = BODY, *, bold: bool = False, color: Any = INK, **more: Any) -> ParagraphStyle:
    """Return a paragraph style in the paper's type."""
    register()
    values = {
        "fontName": BOLD if bold else REGULAR,
        "fontSize": size,
        "leading": size * LEADING,
        "textColor": color,
        "splitLongWords": 1,
    }
    return ParagraphStyle("paper", **(values | more))


def right(size: float = BODY, **more: Any) -> ParagraphStyle:
    return style(size, alignment=TA_RIGHT, **more)


def centered(size: float = BODY, **more: Any) -> ParagraphStyle:
    return style(size, alignment=TA_CENTER, **more)


def day(on: date | None) -> str:
    """Return '2 Mar 2026', which has only one reading; empty for no day."""
    return dateformat.format(on, "j M Y") if on else ""


def weekday(on: date | None) -> str:
    """Return 'Mon 2 Mar 2026'; empty for no day."""
    return dateformat.format(on, "D j M Y") if on else ""


class PaperCanvas(Canvas):
    """A canvas that has the drawn signs and holds its pages back until it knows how many there are."""

    def __init__(self, *args: Any, **more: Any) -> None:
        self.foot = more.pop("foot", None)
        super().__init__(*args, **more)
        register()
        drawn_signs.add_signs(self)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 (reportlab's name)
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        pages = self._pages
        for number, page in enumerate(pages, 1):
            self.__dict__.update(page)
            if self.foot:
                self.foot(self, number, len(pages))
            super().showPage()
        super().save()


def blank(file: BytesIO, size: tuple[float, float], *, title: str, author: str, foot: Any = None) -> PaperCanvas:
    """Return an empty PDF whose bytes depend only on what is drawn on it."""
    canvas = PaperCanvas(file, pagesize=size, invariant=1, pageCompression=1, lang="en", foot=foot)
    canvas.setTitle(title)
    canvas.setAuthor(author)
    return canvas


@dataclass
class Sheet:
    """One document of any number of pages with a heading, a footer and page x of y."""

    title: str
    trade_name: str
    us_letter: bool = False
    sideways: bool = False
    subtitle: str = ""
    ink: Ink = field(default_factory=Ink)

    @property
    def size(self) -> tuple[float, float]:
        size = letter if self.us_letter else A4
        return landscape(size) if self.sideways else size

    @property
    def width(self) -> float:
        """Return the width inside the margins, in points."""
        return float(self.size[0]) - 2 * MARGIN

    def text(self, words: object, size: float = BODY, *, bold: bool = False, **more: Any) -> Paragraph:
        """Return plain text as a paragraph."""
        return Paragraph(self.ink(words, bold=bold), style(size, **more))

    def number(self, number: int, width: float) -> Paragraph:
        """Return a large number for a column of this width, smaller where it would wrap."""
        size = min(HUGE, HUGE * (width - 2 * PADDING) / stringWidth(f"{number} ", BOLD, HUGE))
        return self.text(number, size, bold=True)

    def heading(self) -> list[Flowable]:
        """Return the trade name, the title and the subtitle."""
        parts: list[Flowable] = [self.text(self.trade_name, BODY, color=SOFT), self.text(self.title, HUGE, bold=True)]
        if self.subtitle:
            parts.append(self.text(self.subtitle, BODY + 1, color=SOFT))
        return [*parts, Spacer(0, 4 * mm)]

    def print(self, story: Sequence[Flowable]) -> bytes:
        """Return the finished file."""
        file = BytesIO()
        width, height = self.size
        frame = Frame(MARGIN, MARGIN + FOOT, width - 2 * MARGIN, height - 2 * MARGIN - FOOT, *[0] * 4, id="page")
        paper = BaseDocTemplate(file, pagesize=self.size, invariant=1, title=self.title, author=self.trade_name)
        paper.addPageTemplates(PageTemplate("page", [frame]))
        paper.build([*self.heading(), *story], canvasmaker=self._canvas)
        return file.getvalue()

    def _canvas(self, *args: Any, **more: Any) -> PaperCanvas:
        return PaperCanvas(*args, **(more | {"invariant": 1, "lang": "en", "foot": self._foot}))

    def _foot(self, canvas: Canvas, number: int, of: int) -> None:
        width, _ = self.size
        room = width - 2 * MARGIN
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.5)
        canvas.line(MARGIN, MARGIN + FOOT - 4 * mm, width - MARGIN, MARGIN + FOOT - 4 * mm)
        place(canvas, Paragraph(f"page {number} of {of}", right(SMALL, color=SOFT)), MARGIN, MARGIN, room)
        left = self.ink.warning() or f"{self.title}, {self.trade_name}"
        shown = Paragraph(Ink()(left), style(SMALL, color=INK if self.ink.missing else SOFT))
        place(canvas, shown, MARGIN, MARGIN, room - 25 * mm)


def place(canvas: Canvas, flowable: Flowable, x: float, top: float, width: float) -> float:
    """Draw a flowable whose first line starts just under `top`; return its height."""
    _, height = flowable.wrapOn(canvas, width, 1_000)
    flowable.drawOn(canvas, x, top + SMALL - height)
    return float(height)


def table(
    rows: list[list[Any]],
    widths: list[float],
    *,
    head: int = 1,
    ruled: bool = True,
    more: Sequence[tuple[Any, ...]] = (),
) -> Table:
    """Return rows under a heading that repeats on each page."""
    looks = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LEFTPADDING", (0, 0), (-1, -1), PADDING),
        ("RIGHTPADDING", (0, 0), (-1, -1), PADDING),
        ("TOPPADDING", (0, 0), (-1, -1), 3),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
        ("BACKGROUND", (0, 0), (-1, head - 1), GROUND),
        ("LINEBELOW", (0, 0), (-1, head - 1), 1, black),
    ]
    if ruled:
        looks.append(("LINEBELOW", (0, head), (-1, -1), 0.5, RULE))
    return Table(rows, colWidths=widths, repeatRows=head, style=TableStyle([*looks, *more]))
