"""Read a logger's file completely and name every fault by its row before anything is used.

Columns: `time`, `outside`, `bottle` and, for a second logger in the box, `air` (with `_c` or `_f`, or in the unit of
the form); `inside` counts as the bottle. Any common way to write times, with the day in a column `date` if needed;
commas or semicolons, decimal points or decimal commas; empty cells are gaps.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from dateutil import parser as dates
from django.core.exceptions import ValidationError

from breeder.base.csv_import import Unreadable, decimal_of, rows_of, with_dates
from breeder.core.units import to_celsius

MOST_ROWS = 20_000
MOST_FAULTS_SHOWN = 8
LOWEST_C, HIGHEST_C = -50.0, 70.0
GAPS = {"", "-", "na", "n/a", "nan", "null", "err"}
SECONDS_PER_HOUR = 3600.0
NO_DAY = re.compile(r"\d{1,2}(:\d\d){1,2}\s*([ap]\.?m?\.?)?", re.IGNORECASE)
COUNTED = re.compile(r"\d+([.,]\d+)?")
SPREADSHEET_ZERO = datetime(1899, 12, 30)
SPREADSHEET_DAYS = (36_526.0, 73_051.0)  # 2000 to 2100
UNIX_SECONDS = (946_684_800.0, 4_102_444_800.0)  # the same years
Places = tuple[int, ...]  # of time, outside, bottle and, where there is one, air
Readings = dict[datetime, tuple[float, ...]]
WANTED = "Name the columns 'time', 'outside', 'bottle' and, for a second logger, 'air' (or outside_c, outside_f ...)."


class LoggerRefused(ValidationError):
    """The file was not used; the messages name row, value and remedy."""

    def __init__(self, faults: list[str]) -> None:
        shown = faults[:MOST_FAULTS_SHOWN]
        if more := len(faults) - len(shown):
            rows = "1 more row has" if more == 1 else f"{more} more rows have"
            shown.append(f"{rows} faults; nothing of the file was used.")
        super().__init__([ValidationError(sentence, code="logger") for sentence in shown])


@dataclass(frozen=True)
class LoggerRun:
    """A logger's run: hours since the first time, outside, bottle and air in °C, NaN for a gap."""

    hours: tuple[float, ...]
    outside_c: tuple[float, ...]
    bottle_c: tuple[float, ...]
    air_c: tuple[float, ...] | None = None


def read_logger(content: bytes, *, fahrenheit: bool) -> LoggerRun:
    """Return the run in a logger's file. Raises LoggerRefused naming every fault by its row."""
    rows = _rows(content)
    places, unit_f = _columns(rows[0], fahrenheit)
    readings = _shortest(rows[1:], places, unit_f)
    if len(readings) < 2:
        raise LoggerRefused(
            [
                f"The file holds {len(readings) or 'no'} reading{'' if len(readings) == 1 else 's'}. "
                "Log for a day, at least every quarter of an hour."
            ]
        )
    times = sorted(readings)
    hours = tuple((at - times[0]).total_seconds() / SECONDS_PER_HOUR for at in times)
    return LoggerRun(hours, *zip(*(readings[at] for at in times), strict=True))


def _shortest(rows: list[list[str]], places: Places, unit_f: bool) -> Readings:
    """Return the readings with the month first or the day first, whichever makes the run shorter.

    03/02 may be either, but a run of a day, read the wrong way, would last a month or more.
    """
    able, refusals = [], []
    for day_first in (False, True):
        try:
            able.append(_readings(rows, places, unit_f, day_first))
        except LoggerRefused as refusal:
            refusals.append(refusal)
    if not able:
        raise refusals[0]
    return min(able, key=lambda readings: max(readings) - min(readings) if readings else timedelta())


def _readings(rows: list[list[str]], places: Places, unit_f: bool, day_first: bool) -> Readings:
    faults: list[str] = []
    readings: Readings = {}
    for number, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        try:
            at = _time(number, row[places[0]], day_first)
            if at in readings:
                raise ValueError(f"Row {number} repeats the time {row[places[0]].strip()}. Keep one of the two.")
            readings[at] = tuple(_value(number, row[place], unit_f) for place in places[1:])
        except IndexError:
            faults.append(f"Row {number} has {len(row)} cells, fewer than the first row names. Fill it or delete it.")
        except ValueError as fault:
            faults.append(str(fault))
    if faults:
        raise LoggerRefused(faults)
    return readings


def _rows(content: bytes) -> list[list[str]]:
    try:
        rows = with_dates(rows_of(content))
    except Unreadable as fault:
        raise LoggerRefused([str(fault)]) from None
    if not rows:
        raise LoggerRefused([f"The file is empty. {WANTED}"])
    if len(rows) > MOST_ROWS:
        raise LoggerRefused([f"The file has {len(rows)} rows; {MOST_ROWS} fit. Thin it out to one a minute."])
    return rows


def _columns(header: list[str], fahrenheit: bool) -> tuple[Places, bool]:
    names = [name.strip().lower() for name in header]
    units = {name[-1] for name in names if name.endswith(("_c", "_f"))}
    if len(units) > 1:
        raise LoggerRefused(["One column is in °C and another in °F. Export both in the same unit."])
    bare = [name.removesuffix("_c").removesuffix("_f") for name in names]
    if "bottle" not in bare and "inside" in bare:
        bare[bare.index("inside")] = "bottle"
    missing = [name for name in ("time", "outside", "bottle") if name not in bare]
    if missing:
        raise LoggerRefused([f"There is no column '{missing[0]}' among {', '.join(names) or 'none'}. {WANTED}"])
    wanted = ["time", "outside", "bottle", *(["air"] if "air" in bare else [])]
    return tuple(bare.index(name) for name in wanted), units == {"f"} if units else fahrenheit


def _time(number: int, text: str, day_first: bool) -> datetime:
    typed = text.strip()
    if NO_DAY.fullmatch(typed):
        raise ValueError(
            f"Row {number} has the time '{typed}' without its day. Write it as 2026-02-04 17:30, or add a column "
            "'date'."
        )
    try:
        if (counted := _counted(typed)) is not None:
            return counted
        is_day_first = day_first and not typed[:4].isdigit()  # 2026-02-04 has only one reading
        parsed = dates.parse(typed, default=datetime(2000, 1, 1), dayfirst=is_day_first)
    except (ValueError, OverflowError):
        raise ValueError(f"Row {number} has the time '{typed[:30]}'. Write it as 2026-02-04 17:30.") from None
    # In UTC, a change to or from daylight saving time during a run makes no jump.
    return parsed if parsed.tzinfo is None else parsed.astimezone(UTC).replace(tzinfo=None)


def _counted(typed: str) -> datetime | None:
    """Return a time written as a number: spreadsheet days, or seconds or milliseconds since 1970; else None."""
    if not COUNTED.fullmatch(typed):
        return None
    count = float(typed.replace(",", "."))
    if SPREADSHEET_DAYS[0] <= count < SPREADSHEET_DAYS[1]:
        return SPREADSHEET_ZERO + timedelta(seconds=round(count * SECONDS_PER_HOUR * 24))
    for seconds in (count, count / 1000):
        if UNIX_SECONDS[0] <= seconds < UNIX_SECONDS[1]:
            return datetime.fromtimestamp(seconds, UTC).replace(tzinfo=None)
    return None


def _value(number: int, text: str, fahrenheit: bool) -> float:
    typed = text.strip().lower()
    if typed in GAPS:
        return float("nan")
    try:
        value = decimal_of(typed)
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
