"""Read daily forecasts with their outcomes: one row per city, day and number of days ahead."""

import csv
import gzip
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from io import TextIOWrapper
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEADS = 6  # from the morning of the day itself (0) to five days before (5)
DEGREES_AN_HOUR = 15

FORMAT = """FILE is a CSV (or CSV.gz) with a row for each city, day and lead, in °C:
city, state, lat, lon · target_date (ISO) · lead_day (0: said before dawn of that day, to 5) ·
fc_high_c, fc_low_c: the high and low that were said; the low is that of the night that ends on target_date ·
obs_high_c, obs_low_c: what the day was · flag_high, flag_low: 1 where what was observed cannot be.
Further columns are passed over. An empty value is missing; a day that lacks one it needs is left out."""
COLUMNS = [
    "city",
    "state",
    "lat",
    "lon",
    "target_date",
    "lead_day",
    "fc_high_c",
    "fc_low_c",
    "obs_high_c",
    "obs_low_c",
    "flag_high",
    "flag_low",
]


@dataclass(frozen=True, eq=False)
class City:
    """A place with its days: forecasts at every lead, (days, leads), and outcomes, (days,), in °C."""

    name: str
    latitude: float
    longitude: float
    first: date
    forecast_low: Array
    forecast_high: Array
    low: Array
    high: Array

    @property
    def timezone(self) -> str:
        """Return a time zone by the sun's hour, without daylight saving time: the file names no zone."""
        ahead = round(self.longitude / DEGREES_AN_HOUR)
        return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"

    @property
    def days(self) -> int:
        """Return how many days there are."""
        return len(self.low)

    def day_index(self, on: date) -> int:
        """Return the index of a day in the arrays; it may be outside of them."""
        return (on - self.first).days


@dataclass(frozen=True)
class _Row:
    on: date
    lead: int
    forecast_low: float
    forecast_high: float
    low: float
    high: float


def read_cities(path: Path) -> list[City]:
    """Return the cities of a file in its order. Raises KeyError, ValueError or OSError where it cannot be read."""
    rows_by_city: dict[tuple[str, float, float], list[_Row]] = {}
    for row in _rows(path):
        key = (f"{row['city']}, {row['state']}", float(row["lat"]), float(row["lon"]))
        rows_by_city.setdefault(key, []).append(_read(row))
    return [_city(*key, rows) for key, rows in rows_by_city.items()]


def _rows(path: Path) -> Iterator[dict[str, str]]:
    packed = path.suffix == ".gz"
    with gzip.open(path) if packed else path.open("rb") as raw:
        reader = csv.DictReader(TextIOWrapper(raw, encoding="utf-8-sig", newline=""))
        lacking = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
        if lacking:
            raise ValueError(f"the columns {', '.join(lacking)} are missing")
        yield from reader


def _read(row: dict[str, str]) -> _Row:
    lead = int(row["lead_day"])
    if not 0 <= lead < LEADS:
        raise ValueError(f"lead_day is {lead}, but it must be from 0 to {LEADS - 1}")
    low, high = (
        np.nan if _is_flagged(row[f"flag_{side}"]) else _number(row[f"obs_{side}_c"]) for side in ("low", "high")
    )
    forecast_low, forecast_high = _number(row["fc_low_c"]), _number(row["fc_high_c"])
    return _Row(date.fromisoformat(row["target_date"]), lead, forecast_low, forecast_high, low, high)


def _number(text: str) -> float:
    return float(text) if text else np.nan


def _is_flagged(text: str) -> bool:
    return text not in ("", "0")


def _city(name: str, latitude: float, longitude: float, rows: Sequence[_Row]) -> City:
    first = min(row.on for row in rows)
    days = (max(row.on for row in rows) - first).days + 1
    forecasts = np.full((2, days, LEADS), np.nan)
    outcomes = np.full((2, days), np.nan)
    for row in rows:
        place = (row.on - first).days
        forecasts[:, place, row.lead] = row.forecast_low, row.forecast_high
        outcomes[:, place] = row.low, row.high
    return City(name, latitude, longitude, first, forecasts[0], forecasts[1], outcomes[0], outcomes[1])


def days_between(first: date, number: int) -> list[date]:
    """Return `number` days, starting with `first`."""
    return [first + timedelta(days=ahead) for ahead in range(number)]
