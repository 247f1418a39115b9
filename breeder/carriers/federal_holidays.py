"""US federal holidays, computed. Source: 5 U.S.C. 6103; the postal service closes on all eleven.

Sunday holidays are observed on Monday. A Saturday holiday closes the postal service on that Saturday (from
memory); government offices close on the Friday before, but mail still moves then.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import MO, TH, relativedelta, weekday

SUNDAY = 6
# (name, month, day, weekday rule): a fixed day, or the n-th weekday counted from that day on.
RULES = (
    ("New Year's Day", 1, 1, None),
    ("Birthday of Martin Luther King, Jr.", 1, 1, MO(3)),
    ("Washington's Birthday", 2, 1, MO(3)),
    ("Memorial Day", 5, 31, MO(-1)),
    ("Juneteenth", 6, 19, None),
    ("Independence Day", 7, 4, None),
    ("Labor Day", 9, 1, MO(1)),
    ("Columbus Day", 10, 1, MO(2)),
    ("Veterans Day", 11, 11, None),
    ("Thanksgiving Day", 11, 1, TH(4)),
    ("Christmas Day", 12, 25, None),
)
FIRST_YEAR = 2021  # Juneteenth did not exist before


@dataclass(frozen=True)
class Holiday:
    """A day on which the postal service is closed."""

    on: date
    name: str


def federal_holidays(year: int) -> tuple[Holiday, ...]:
    """Return the days of a year on which the US postal service is closed. Raises ValueError before 2021."""
    if year < FIRST_YEAR:
        raise ValueError(f"Holidays are known from {FIRST_YEAR} on; {year} is earlier.")
    holidays = [Holiday(observed(_day(year, month, day, rule)), name) for name, month, day, rule in RULES]
    return tuple(sorted(holidays, key=lambda holiday: holiday.on))


def observed(day: date) -> date:
    """Return the day a holiday closes the postal service: the Monday after a Sunday, else the day itself."""
    return day + timedelta(days=1) if day.weekday() == SUNDAY else day


def _day(year: int, month: int, day: int, rule: weekday | None) -> date:
    start = date(year, month, day)
    return start if rule is None else start + relativedelta(weekday=rule)
