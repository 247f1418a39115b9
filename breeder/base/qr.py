"""A square code (QR) as its modules, for paper, and as the path of an SVG, for a page."""

from functools import lru_cache
from itertools import groupby

from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

QUIET = 4  # modules of white around the code (ISO/IEC 18004)


@lru_cache(maxsize=1_024)
def modules(held: str) -> tuple[tuple[bool, ...], ...]:
    """Return the code's squares, True for dark (ISO/IEC 18004, middle error correction: labels get wet)."""
    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(held)
    code.make()
    return tuple(tuple(map(bool, row)) for row in code.modules)


def dark_runs(row: tuple[bool, ...]) -> list[tuple[int, int]]:
    """Return where dark modules begin in a row, and how many stand together."""
    runs, at = [], 0
    for dark, run in groupby(row):
        length = len(list(run))
        if dark:
            runs.append((at, length))
        at += length
    return runs


def svg_path(held: str) -> tuple[str, int]:
    """Return the dark modules as one path, and the side of the whole code with its quiet zone, in modules."""
    rows = modules(held)
    path = "".join(
        f"M{QUIET + at} {QUIET + nth}h{length}v1h-{length}z"
        for nth, row in enumerate(rows)
        for at, length in dark_runs(row)
    )
    return path, len(rows) + 2 * QUIET
