"""Register the fonts for all PDFs and say which letters they can draw."""

import unicodedata
from functools import cache

from font_source_sans_pro import font_files_ttf
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

# Source Sans Pro, SIL Open Font License. Its italic is also the italic of scientific names: no serif italic is bundled.
FAMILY = "Paper"
FACES = {
    (False, False): ("Paper", "SourceSansPro"),
    (True, False): ("Paper-Bold", "SourceSansProBold"),
    (False, True): ("Paper-Italic", "SourceSansProIt"),
    (True, True): ("Paper-BoldItalic", "SourceSansProBoldIt"),
}
REGULAR = FACES[False, False][0]
BOLD = FACES[True, False][0]

# Marks that only steer layout; they leave no gap when a font has no glyph for them.
UNSEEN = {"Cc", "Cf", "Mn", "Me"}
STEERING = {"Cc", "Cf"}


@cache
def register() -> None:
    """Register the four faces with reportlab, once per process."""
    for (bold, italic), (name, file) in FACES.items():
        pdfmetrics.registerFont(TTFont(name, font_files_ttf[file]))
        addMapping(FAMILY, bold, italic, name)


@cache
def letters(*, bold: bool = False, italic: bool = False) -> frozenset[int]:
    """Return the code points that one face can draw."""
    register()
    return frozenset(pdfmetrics.getFont(FACES[bold, italic][0]).face.charToGlyph)


def printable_form(letter: str) -> str | None:
    """Return how a letter is printed: itself, a plain form of it, or nothing for invisible marks; None if it cannot be.

    A thin space becomes a space and a full-width A an A (Unicode compatibility forms); ideographs have no such form.
    """
    known = letters()
    if unicodedata.category(letter) in STEERING:
        return ""
    if ord(letter) in known:
        return letter
    if letter.isspace():
        return " "
    plain = unicodedata.normalize("NFKD", letter)
    kept = "".join(part for part in plain if ord(part) in known and unicodedata.category(part) not in UNSEEN)
    bases = [part for part in plain if unicodedata.category(part) not in UNSEEN]
    if len(kept) == len(bases):
        return kept
    return None
