"""Reading a spreadsheet's file into rows: commas, semicolons or tabs; UTF-8, or UTF-16 with its mark."""

import csv
import re
from datetime import datetime
from io import StringIO

UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")
SAVE_AS = "Save it again as “CSV UTF-8”."
TWELVE_HOUR = re.compile(
    r"(?:(?P<month>\d{1,2})/(?P<day>\d{1,2})/(?P<year>\d{4}|\d\d)|(?P<iso>\d{4}-\d\d-\d\d)),?\s+"
    r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(?::(?P<second>\d\d))?\s*(?P<half>[ap])\.?m\.?",
    re.IGNORECASE,
)


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


def with_dates(rows: list[list[str]]) -> list[list[str]]:
    """Return the rows with what stands under 'date' put before what stands under 'time', where both are named."""
    names = [name.strip().lower() for name in rows[0]] if rows else []
    if "date" not in names or "time" not in names:
        return rows
    on, at = names.index("date"), names.index("time")
    for row in rows[1:]:
        if len(row) > max(on, at):
            row[at] = f"{row[on].strip()} {row[at].strip()}".strip()
    return rows


def twelve_hour_time(typed: str) -> datetime | None:
    """Return a time with AM or PM, its date as 3/7/2026 (month first) or 2026-03-07; None for anything else.

    Raises ValueError for a time that is none, such as 13:00 PM or month 13.
    """
    written = TWELVE_HOUR.fullmatch(typed.strip())
    if written is None:
        return None
    hour = int(written["hour"])
    if not 1 <= hour <= 12:
        raise ValueError(f"{hour} is not an hour of twelve.")
    if written["iso"]:
        day = datetime.fromisoformat(written["iso"])
    else:
        year = int(written["year"])
        day = datetime(year if year > 99 else 2000 + year, int(written["month"]), int(written["day"]))
    half = 12 if written["half"].lower() == "p" else 0
    return day.replace(hour=hour % 12 + half, minute=int(written["minute"]), second=int(written["second"] or 0))


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
