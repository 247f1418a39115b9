"""Reading what a logger recorded: looked through whole, every fault named by its row, before anything is used.

Columns `time`, `outside` and `inside` (with `_c` or `_f`, or the unit chosen beside the file); any common way to write
times; commas or semicolons, decimal points or decimal commas; empty cells are gaps.
"""

import csv
from dataclasses import dataclass
from datetime import datetime
from io import StringIO

from dateutil import parser as dates
from django.core.exceptions import ValidationError

from breeder.pages.words import to_celsius

MOST_ROWS = 20_000
MOST_FAULTS_SHOWN = 8
LOWEST_C, HIGHEST_C = -50.0, 70.0
GAPS = {"", "-", "na", "n/a", "nan", "null", "err"}
SECONDS_PER_HOUR = 3600.0
WANTED = "Name the columns 'time', 'outside' and 'inside' (or outside_c, inside_c, outside_f, inside_f)."


class LoggerRefused(ValidationError):
    """The file was not used; the sentences name row, value and remedy."""

    def __init__(self, faults: list[str]) -> None:
        shown = faults[:MOST_FAULTS_SHOWN]
        if more := len(faults) - len(shown):
            shown.append(f"{more} more rows have faults; nothing of the file was used.")
        super().__init__([ValidationError(sentence, code="logger") for sentence in shown])


@dataclass(frozen=True)
class Logged:
    """What a logger recorded: hours since its first time, outside and inside in °C, NaN for a gap."""

    hours: tuple[float, ...]
    outside_c: tuple[float, ...]
    inside_c: tuple[float, ...]


def read(content: bytes, *, fahrenheit: bool) -> Logged:
    """Return what a logger's file holds. Raises LoggerRefused naming every fault by its row."""
    rows = _rows(content)
    places, unit_f = _columns(rows[0], fahrenheit)
    faults: list[str] = []
    found: dict[datetime, tuple[float, float]] = {}
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            at = _time(number, row[places[0]])
            if at in found:
                raise ValueError(f"Row {number} repeats the time {row[places[0]].strip()}. Keep one of the two.")
            found[at] = (_value(number, row[places[1]], unit_f), _value(number, row[places[2]], unit_f))
        except IndexError:
            faults.append(f"Row {number} has {len(row)} cells, fewer than the first row names. Fill it or delete it.")
        except ValueError as fault:
            faults.append(str(fault))
    if faults:
        raise LoggerRefused(faults)
    if len(found) < 2:
        raise LoggerRefused(
            [f"The file holds {len(found)} readings. Log for a day, at least every quarter of an hour."]
        )
    times = sorted(found)
    hours = tuple((at - times[0]).total_seconds() / SECONDS_PER_HOUR for at in times)
    return Logged(hours, tuple(found[at][0] for at in times), tuple(found[at][1] for at in times))


def _rows(content: bytes) -> list[list[str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise LoggerRefused(["The file is not UTF-8 text. Save it as CSV in UTF-8 and send it again."]) from None
    if "\x00" in text:
        raise LoggerRefused(["The file holds a NUL byte, so it is no CSV. Export it from the logger as CSV."])
    delimiter = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    rows = list(csv.reader(StringIO(text), delimiter=delimiter))
    if not rows:
        raise LoggerRefused([f"The file is empty. {WANTED}"])
    if len(rows) > MOST_ROWS:
        raise LoggerRefused([f"The file has {len(rows)} rows; {MOST_ROWS} fit. Thin it out to one a minute."])
    return rows


def _columns(header: list[str], fahrenheit: bool) -> tuple[tuple[int, int, int], bool]:
    names = [name.strip().lower() for name in header]
    units = {name[-1] for name in names if name.endswith(("_c", "_f"))}
    if len(units) > 1:
        raise LoggerRefused(["One column is in °C and another in °F. Export both in the same unit."])
    bare = [name.removesuffix("_c").removesuffix("_f") for name in names]
    missing = [name for name in ("time", "outside", "inside") if name not in bare]
    if missing:
        raise LoggerRefused([f"There is no column '{missing[0]}' among {', '.join(names) or 'none'}. {WANTED}"])
    return (bare.index("time"), bare.index("outside"), bare.index("inside")), units == {"f"} if units else fahrenheit


def _time(number: int, text: str) -> datetime:
    try:
        return dates.parse(text.strip(), default=datetime(2000, 1, 1)).replace(tzinfo=None)
    except (ValueError, OverflowError):
        raise ValueError(f"Row {number} has the time '{text.strip()[:30]}'. Write it as 2026-02-04 17:30.") from None


def _value(number: int, text: str, fahrenheit: bool) -> float:
    typed = text.strip().lower().replace(",", ".")
    if typed in GAPS:
        return float("nan")
    try:
        value = float(typed)
    except ValueError:
        raise ValueError(
            f"Row {number} has '{text.strip()[:30]}', which is no temperature. Leave gaps empty."
        ) from None
    celsius = to_celsius(value) if fahrenheit else value
    if not LOWEST_C <= celsius <= HIGHEST_C:
        other = "°C" if fahrenheit else "°F"
        raise ValueError(
            f"Row {number} has {value:g}, which no parcel meets. If it is in {other}, say so beside the file."
        )
    return celsius
