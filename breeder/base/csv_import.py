"""Reading a spreadsheet's file into rows: commas, semicolons or tabs; UTF-8, or UTF-16 with its mark."""

import csv
from io import StringIO

UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")
SAVE_AS = "Save it again as “CSV UTF-8”."


class Unreadable(ValueError):
    """The file is no table; the sentence says why, and what to do."""


def rows_of(content: bytes) -> list[list[str]]:
    """Return every row, empty ones as empty lists, so that a row's number is its place counted from 1.

    Raises Unreadable.
    """
    text = _text_of(content)
    first = text.splitlines()[0] if text else ""
    delimiter = max(",;\t", key=first.count)
    try:
        # The reader sees the line ends as they are: old ones of one sign alone, or a line break within a cell.
        return list(csv.reader(StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as fault:
        raise Unreadable(f"The file cannot be read as a table ({fault}). {SAVE_AS}") from None


def decimal_of(typed: str) -> float:
    """Return a number typed with a point or a comma before its decimals. Raises ValueError."""
    return float(typed.strip().replace(",", ".").replace("\u2212", "-"))


def _text_of(content: bytes) -> str:
    try:
        text = content.decode("utf-16" if content.startswith(UTF_16_MARKS) else "utf-8-sig")
    except UnicodeDecodeError as fault:
        row = content[: fault.start].count(b"\n") + 1
        raise Unreadable(f"Row {row}: the file is not UTF-8 text. {SAVE_AS}") from None
    if "\x00" in text:
        row = text[: text.index("\x00")].count("\n") + 1
        raise Unreadable(f"Row {row}: there is a NUL byte in the file, so it is no CSV. {SAVE_AS}")
    return text
