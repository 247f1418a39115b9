"""The usual low and high of each month at a place: a planning hint beyond the forecast, never used in a box check."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from breeder.base.csv_import import Unreadable, decimal_of, rows_of
from breeder.core.units import degrees, to_celsius
from breeder.weather.plausibility import temperature_fault

NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip

# With fewer whole days, or days with fewer hours, the mean says little about the month (judgment).
LEAST_DAYS = 20
LEAST_HOURS_A_DAY = 22

COLUMNS = {("month", "low_c", "high_c"): False, ("month", "low_f", "high_f"): True}
COLUMNS_WANTED = (
    "The file needs a first row 'month,low_c,high_c' (or low_f, high_f), then a row for each month, 1 to 12."
)


@dataclass(frozen=True)
class UsualRange:
    """The mean low and high of a month's days, °C."""

    month: int
    low_c: float
    high_c: float

    def text(self, place: str, *, fahrenheit: bool) -> str:
        """Return a sentence with the low and high, and that they are no verdict."""
        low, high = (degrees(value, fahrenheit=fahrenheit) for value in (self.low_c, self.high_c))
        return f"In a usual {NAMES[self.month - 1]} at {place}: {low} to {high}, no verdict."


def month_fault(month: int, low_c: float, high_c: float, *, fahrenheit: bool) -> str:
    """Return what is wrong with a month's low and high and how to fix it, or an empty text."""
    for value in (low_c, high_c):
        if fault := temperature_fault(value, fahrenheit=fahrenheit):
            return f"{NAMES[month - 1]}: {fault}"
    if low_c > high_c:
        return f"{NAMES[month - 1]} has a low above its high. Exchange them."
    return ""


def from_measured(measured: Iterable[tuple[datetime, float]], zone: ZoneInfo) -> list[UsualRange]:
    """Return the mean low and high of the whole days of each month that has enough measured hours."""
    by_day: dict[date, list[float]] = {}
    for at, value in measured:
        by_day.setdefault(at.astimezone(zone).date(), []).append(value)
    days_by_month: dict[int, list[Sequence[float]]] = {}
    for day, values in by_day.items():
        if len(values) >= LEAST_HOURS_A_DAY:
            days_by_month.setdefault(day.month, []).append(values)
    return [
        UsualRange(month, _mean(min(day) for day in days), _mean(max(day) for day in days))
        for month, days in sorted(days_by_month.items())
        if len(days) >= LEAST_DAYS
    ]


def _mean(values: Iterable[float]) -> float:
    numbers = list(values)
    return round(sum(numbers) / len(numbers), 1)


def read_months_csv(content: bytes) -> tuple[list[UsualRange], list[str]]:
    """Return the months of a CSV file and its faults, each with its row; a file with faults gives no months."""
    try:
        rows = rows_of(content)
    except Unreadable as fault:
        return [], [str(fault)]
    header = tuple(cell.strip().lower() for cell in rows[0]) if rows else ()
    if header not in COLUMNS:
        return [], [COLUMNS_WANTED]
    months: dict[int, UsualRange] = {}
    faults = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        month, fault = _month(row, fahrenheit=COLUMNS[header])
        if month is not None and month.month in months:
            fault = f"{NAMES[month.month - 1]} is in the file twice. Leave one out."
        if month is None or fault:
            faults.append(f"Row {number}: {fault}")
        else:
            months[month.month] = month
    return ([], faults) if faults else (list(months.values()), [])


def _month(row: list[str], *, fahrenheit: bool) -> tuple[UsualRange | None, str]:
    try:
        month, low, high = int(row[0]), decimal_of(row[1]), decimal_of(row[2])
    except (ValueError, IndexError):
        return None, f"‘{', '.join(row)[:60]}’ is no month from 1 to 12 with a low and a high. Write 1, -2.5, 4."
    if not 1 <= month <= len(NAMES):
        return None, f"{month} is no month. Give 1 to 12."
    low_c, high_c = (to_celsius(value) if fahrenheit else value for value in (low, high))
    return UsualRange(month, low_c, high_c), month_fault(month, low_c, high_c, fahrenheit=fahrenheit)


def keyed_by_month(rows: Iterable[UsualRange]) -> Mapping[int, UsualRange]:
    """Return the months keyed by number."""
    return {row.month: row for row in rows}


def months_text(number: int) -> str:
    """Return '1 usual month', '12 usual months'."""
    return "1 usual month" if number == 1 else f"{number} usual months"
