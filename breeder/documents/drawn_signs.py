"""Draw signs that the fonts lack as shapes: sexes, a box to tick, this way up."""

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any

from reportlab.lib.colors import black
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

# A sign is drawn on a square of 100 units whose lower edge is the text's baseline.
SQUARE = 100.0
STROKE = 9.0
# The sign fills this share of the type size; four no-break spaces of Source Sans (0.2 em each) hold its place.
SIGN_EM = 0.76
PLACE = "\u00a0" * 4
PLACE_EM = 0.80
UNDER_LINE_EM = 0.05


def _female(canvas: Canvas) -> None:
    canvas.circle(50, 66, 24)
    canvas.line(50, 42, 50, 2)
    canvas.line(33, 20, 67, 20)


def _male(canvas: Canvas) -> None:
    ring_x, ring_y, radius, tip = 40.0, 32.0, 24.0, 84.0
    start_x, start_y = ring_x + radius * cos(pi / 4), ring_y + radius * sin(pi / 4)
    canvas.line(start_x, start_y, tip, tip - (ring_x - ring_y))
    canvas.circle(ring_x, ring_y, radius)
    tip_y = tip - (ring_x - ring_y)
    canvas.line(tip, tip_y, tip - 26, tip_y)
    canvas.line(tip, tip_y, tip, tip_y - 26)


@dataclass(frozen=True)
class Sign:
    """A sign printed within a line of text."""

    name: str
    draw: Callable[[Canvas], None]

    @property
    def markup(self) -> str:
        # The spaces come first: a mark without width would stay at the end of a line when its spaces wrap.
        return f'{PLACE}<onDraw name="{self.name}" label="{self.name}"/>'


DRAWN = {"♂": Sign("sign-male", _male), "♀": Sign("sign-female", _female)}


def add_signs(canvas: Canvas) -> None:
    """Add the signs to a canvas as reusable forms that paragraphs call by name."""
    for sign in DRAWN.values():
        canvas.beginForm(sign.name, 0, 0, SQUARE, SQUARE)
        canvas.setLineWidth(STROKE)
        canvas.setLineCap(1)
        canvas.setStrokeColor(black)
        sign.draw(canvas)
        canvas.endForm()
        canvas.setNamedCB(sign.name, _place)


def _place(canvas: Canvas, kind: str, name: str) -> None:
    """Draw a sign in the space that the paragraph has just left; reportlab keeps the position on the canvas."""
    at: dict[str, Any] = canvas._curr_tx_info
    size = at["tx"]._fontsize or at["xs"].style.fontSize
    x = at["cur_x"] - size * (PLACE_EM + SIGN_EM) / 2
    draw_sign(canvas, name, x, at["cur_y"] - size * UNDER_LINE_EM, size * SIGN_EM)


def draw_sign(canvas: Canvas, name: str, x: float, y: float, size: float) -> None:
    """Draw a sign of this canvas with its lower left corner at x, y."""
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(size / SQUARE, size / SQUARE)
    canvas.doForm(name)
    canvas.restoreState()


class TickBox(Flowable):
    """An empty square to tick with a pencil."""

    def __init__(self, size: float) -> None:
        super().__init__()
        self.width = self.height = size

    def draw(self) -> None:
        self.canv.setLineWidth(0.9)
        self.canv.setStrokeColor(black)
        self.canv.rect(0.5, 0.5, self.width - 1, self.height - 1)


class ThisWayUp(Flowable):
    """Two arrows pointing up from a bar, the handling mark of ISO 780 (drawn from memory of the standard)."""

    def __init__(self, height: float) -> None:
        super().__init__()
        self.height, self.width = height, height * 0.9

    def draw(self) -> None:
        canvas, unit = self.canv, self.height / 10
        canvas.setFillColor(black)
        for left in (0.4, 4.9):
            arrow = canvas.beginPath()
            for step, (x, y) in enumerate(((0, 6), (1.85, 10), (3.7, 6), (2.5, 6), (2.5, 1.6), (1.2, 1.6), (1.2, 6))):
                (arrow.lineTo if step else arrow.moveTo)((left + x) * unit, y * unit)
            arrow.close()
            canvas.drawPath(arrow, stroke=0, fill=1)
        canvas.rect(0, 0, 9 * unit, 0.8 * unit, stroke=0, fill=1)
