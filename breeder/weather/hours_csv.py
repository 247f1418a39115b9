"""Read an uploaded file of hours whole, and name every fault by its row before anything is kept.

Columns `time` and `temp_c`, `temp_f`, or `temp` with the unit chosen in the form; commas or semicolons, decimal points
or decimal commas, with or without a byte-order mark. Times carry an offset or `Z`, or are read in the zone chosen in
the form; twelve-hour times with AM or PM have the month first. A column `date` may hold the day of each time.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from math import isfinite
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError

from breeder.base.csv_import import Unreadable, decimal_of, rows_of, twelve_hour_time, with_dates
from breeder.core.transit.local_time import NoSuchTime, utc_moments
from breeder.core.units import to_celsius
from breeder.weather import plausibility

MOST_ROWS = 10_000
MOST_FAULTS_SHOWN = 10
MOST_DAYS = 400
# Other years are typos or mean “no time” in a file; zones cannot convert the very first and last of them.
FIRST_YEAR, LAST_YEAR = 1900, 2100
MISSING = {"", "m", "na", "n/a", "nan", "null", "-"}
UNIT_OF_COLUMN = {"temp_c": "c", "temp_f": "f", "temp": ""}
COLUMNS_WANTED = (
    "Name one column 'time' and one 'temp_c' or 'temp_f' (or 'temp', with the unit chosen next to the file)."
)
ONE_HOUR = timedelta(hours=1)


class SheetRefused(ValidationError):
    """The file was refused whole; up to ten sentences name the row, the value and the remedy."""

    def __init__(self, faults: list[str]) -> None:
        shown = faults[:MOST_FAULTS_SHOWN]
        if more := len(faults) - len(shown):
            shown.append(f"{more} more rows have faults; nothing of the file was kept.")
        super().__init__([ValidationError(sentence, code="sheet") for sentence in shown])


@dataclass
class _Reader:
    zone: ZoneInfo
    fahrenheit: bool
    sure: bool
    faults: list[str] = field(default_factory=list)
    readings: dict[datetime, float | None] = field(default_factory=dict)
    row_by_time: dict[datetime, int] = field(default_factory=dict)

    def take(self, row: int, time_text: str, value_text: str) -> None:
        """Read one row; a fault is noted with its row number, and reading goes on."""
        try:
            at = self._time(row, time_text.strip())
            value = self._value(row, value_text.strip())
        except ValueError as fault:
            self.faults.append(str(fault))
            return
        self.readings[at] = value
        self.row_by_time[at] = row

    def _time(self, row: int, text: str) -> datetime:
        at = _moment(row, text)
        if at.tzinfo is None:
            try:
                first, second = utc_moments(at, self.zone)
            except NoSuchTime as skipped:
                raise ValueError(f"Row {row}: {skipped}") from None
            # When clocks go back, an hour comes twice: the second row is the second hour.
            at = second if first in self.readings else first
        else:
            at = at.astimezone(UTC)
        if at in self.readings:
            raise ValueError(
                f"Row {row}: {text} was given before, in row {self.row_by_time[at]}. Keep one of the two; "
                "times without an offset are read in the zone chosen next to the file."
            )
        return at

    def _value(self, row: int, text: str) -> float | None:
        if text.lower() in MISSING:
            return None
        try:
            value = decimal_of(text)
        except ValueError:
            raise ValueError(f"Row {row}: '{text[:30]}' is not a temperature. Write a number such as 12.5.") from None
        if not isfinite(value):
            raise ValueError(f"Row {row}: '{text[:30]}' is not a temperature. Leave it empty if the hour is missing.")
        celsius = to_celsius(value) if self.fahrenheit else value
        if wrong := plausibility.temperature_fault(celsius, fahrenheit=self.fahrenheit, sure=self.sure):
            raise ValueError(f"Row {row}: {wrong}")
        return celsius


def _moment(row: int, text: str) -> datetime:
    try:
        if len(text) <= len("2026-03-07"):
            raise ValueError
        at = twelve_hour_time(text) or datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(
            f"Row {row}: '{text[:30]}' is not a time. Write it as 2026-03-07 14:00, 3/7/2026 2:00 PM or "
            "2026-03-07T19:00Z."
        ) from None
    if not FIRST_YEAR <= at.year <= LAST_YEAR:
        raise ValueError(f"Row {row}: the year of {text[:30]} is not between {FIRST_YEAR} and {LAST_YEAR}. Mend it.")
    return at


def _columns(header: list[str], unit: str) -> tuple[int, int, str]:
    """Return the column indexes of time and temperature, and the unit, 'c' or 'f'."""
    names = [name.strip().lower() for name in header]
    temperatures = [name for name in names if name in UNIT_OF_COLUMN]
    if names.count("time") != 1 or len(temperatures) != 1:
        columns = ", ".join(f"'{name[:20]}'" for name in names[:8]) or "none"
        raise SheetRefused([f"Row 1: the columns are {columns}. {COLUMNS_WANTED}"])
    named = UNIT_OF_COLUMN[temperatures[0]]
    if named and unit and named != unit:
        raise SheetRefused(
            [
                f"Row 1: the column '{temperatures[0]}' names another unit than the one chosen. "
                "Choose 'as the column says' or rename it."
            ]
        )
    if not named and not unit:
        raise SheetRefused(["Row 1: the column 'temp' does not name its unit. Choose °C or °F next to the file."])
    return names.index("time"), names.index(temperatures[0]), named or unit


def _steps(reader: _Reader) -> list[str]:
    """Return a sentence for every jump too large for an hour of real air, such as a change of unit."""
    sentences: list[str] = []
    known = sorted((at, value) for at, value in reader.readings.items() if value is not None)
    for (before, low), (after, high) in zip(known, known[1:], strict=False):
        if after - before <= ONE_HOUR and abs(high - low) > plausibility.ASK_ABOVE_STEP_C:
            sentences.append(
                f"Row {reader.row_by_time[after]}: the air moves by {abs(high - low):.0f} °C within an hour. Mend the "
                "value, leave it empty, or tick that the unit is right throughout."
            )
    return sentences


def read_hours_csv(
    content: bytes, *, zone: ZoneInfo, unit: str = "", sure: bool = False
) -> list[tuple[datetime, float | None]]:
    """Return (UTC time, °C or None) in order of time. Raises SheetRefused, which names every fault by its row.

    `unit` is 'c', 'f' or '' (as the column's name says); `sure` says that the keeper has confirmed the unit.
    """
    try:
        rows = with_dates(rows_of(content))
    except Unreadable as fault:
        raise SheetRefused([str(fault)]) from None
    if not rows or not any(cell.strip() for cell in rows[0]):
        raise SheetRefused([f"Row 1: the file begins with an empty line. {COLUMNS_WANTED}"])
    if len(rows) > MOST_ROWS + 1:
        raise SheetRefused(
            [f"The file has more than {MOST_ROWS:,} rows. Cut it down to the days you need and send it again."]
        )
    time_at, temp_at, named = _columns(rows[0], unit)
    reader = _Reader(zone, named == "f", sure)
    for number, cells in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(rows[0]):
            reader.faults.append(
                f"Row {number}: {len(cells)} cells under {len(rows[0])} columns. Mend the row, or quote decimal commas."
            )
            continue
        reader.take(number, cells[time_at], cells[temp_at])
    return _whole(reader)


def _whole(reader: _Reader) -> list[tuple[datetime, float | None]]:
    faults = reader.faults + ([] if reader.sure else _steps(reader))
    if faults:
        raise SheetRefused(faults)
    if all(value is None for value in reader.readings.values()):
        raise SheetRefused(["The file holds no temperatures under its columns. Add one row for every hour."])
    readings = sorted(reader.readings.items())
    if readings[-1][0] - readings[0][0] > timedelta(days=MOST_DAYS):
        raise SheetRefused(
            [
                f"The rows run from {readings[0][0]:%Y-%m-%d} to {readings[-1][0]:%Y-%m-%d}, more than {MOST_DAYS} "
                "days. Mend the year that is wrong, or cut the file down."
            ]
        )
    return readings
