"""Turn text into print markup: escaped, with letters that the fonts lack drawn, replaced or shown as missing."""

import re
import unicodedata
from collections.abc import Iterator
from itertools import groupby
from xml.sax.saxutils import escape

from breeder.documents.drawn_signs import DRAWN
from breeder.documents.fonts import letters, printable_form

MISSING = "[?]"
NAMED_AT_MOST = 6


class Ink:
    """Turns plain text into reportlab's markup for one document, and remembers the letters it could not print."""

    def __init__(self) -> None:
        self.missing: dict[str, None] = {}

    def __call__(self, words: object, *, bold: bool = False, italic: bool = False) -> str:
        """Return markup for `words`; line ends become <br/>."""
        lines = str(words).replace("\r\n", "\n").replace("\r", "\n").split("\n")
        return "<br/>".join(self._line(line, bold=bold, italic=italic) for line in lines)

    def _line(self, line: str, *, bold: bool, italic: bool) -> str:
        line = re.sub(r"[ \t]+", " ", unicodedata.normalize("NFC", line))
        return "".join(self._run(run, how, bold, italic) for how, run in self._runs(line, bold=bold, italic=italic))

    def _runs(self, line: str, *, bold: bool, italic: bool) -> Iterator[tuple[str, str]]:
        slanted = letters(bold=bold, italic=italic)

        def how(letter: str) -> str:
            if letter in DRAWN:
                return letter
            printed = printable_form(letter)
            if printed is None:
                return "missing"
            return "italic" if italic and all(ord(part) in slanted for part in printed) else "upright"

        for key, run in groupby(line, how):
            yield key, "".join(run)

    def _run(self, run: str, how: str, bold: bool, italic: bool) -> str:
        if how in DRAWN:
            return "".join(DRAWN[how].markup for _ in run)
        if how == "missing":
            self.missing.update(dict.fromkeys(run))
            return f"<b>{MISSING}</b>"
        text = escape("".join(printable_form(letter) or "" for letter in run))
        if not text:
            return ""
        text = f"<i>{text}</i>" if how == "italic" else text
        return f"<b>{text}</b>" if bold else text

    def warning(self) -> str:
        """Return the footer sentence of a document that could not print every letter; empty when it could."""
        if not self.missing:
            return ""
        named = ", ".join(f"U+{ord(letter):04X}" for letter in list(self.missing)[:NAMED_AT_MOST])
        more = len(self.missing) - NAMED_AT_MOST
        rest = f" and {more} more" if more > 0 else ""
        return f"{MISSING} stands for letters that the fonts of this paper lack ({named}{rest}). Write them by hand."
