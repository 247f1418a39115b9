"""Real hours, and forecasts made from them with the error that checks assume."""

import csv
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from breeder.core.thermal.ensemble_draws import Draws
from breeder.core.thermal.forecast_error import error_c, sd_c
from breeder.core.transit.place_air import season_at
from breeder.core.transit.weather_hours import Hours
from breeder.weather import hour_grid, sample_data

DAYS_BEFORE, DAYS_AFTER = 1, 6
ISSUED = time(6)  # local, on the shipping morning
SECONDS_AN_HOUR = 3600


@dataclass(frozen=True)
class MeasuredStation:
    """Hours that were really measured at a place."""

    label: str
    latitude: float
    longitude: float
    timezone: str
    starts_at: datetime
    c: tuple[float | None, ...]

    def days(self) -> list[date]:
        """Return the days whose whole window is covered by hours."""
        first = (self.starts_at + timedelta(days=DAYS_BEFORE + 1)).date()
        number = len(self.c) // 24 - DAYS_BEFORE - DAYS_AFTER - 2
        return [first + timedelta(days=ahead) for ahead in range(max(0, number))]


def recorded_station(code: str) -> MeasuredStation:
    """Return one of the stations that come with the book."""
    known = sample_data.STATIONS[code]
    starts_at, values = sample_data.station_hours(code)
    filled, _ = hour_grid.fill_short_gaps(values)
    return MeasuredStation(
        code, float(known.latitude), float(known.longitude), known.timezone, starts_at, tuple(filled)
    )


def station_from_file(path: Path, latitude: float, longitude: float, timezone: str) -> MeasuredStation:
    """Return the hours of a CSV with the columns time (ISO 8601 with its offset) and temp_c."""
    with path.open(newline="", encoding="utf-8-sig") as file:
        rows = [
            (datetime.fromisoformat(row["time"]).astimezone(UTC), float(row["temp_c"]) if row["temp_c"] else None)
            for row in csv.DictReader(file)
        ]
    starts_at, values = hour_grid.on_whole_hours(sorted(rows, key=lambda row: row[0]))
    clean, _ = hour_grid.without_spikes(values)
    filled, _ = hour_grid.fill_short_gaps(clean)
    return MeasuredStation(path.stem, latitude, longitude, timezone, starts_at, tuple(filled))


def truth_around(station: MeasuredStation, on: date) -> Hours | None:
    """Return the real hours from the day before a shipping day to six days after; None where hours are missing."""
    start = datetime.combine(on - timedelta(days=DAYS_BEFORE), time(5), tzinfo=UTC)
    number = (DAYS_BEFORE + DAYS_AFTER) * 24
    first = int((start - station.starts_at) / hour_grid.HOUR)
    values = station.c[first : first + number] if first >= 0 else ()
    if len(values) < number or None in values:
        return None
    issued = datetime.combine(on, ISSUED, tzinfo=ZoneInfo(station.timezone)).astimezone(UTC)
    return Hours(
        label=station.label,
        latitude=station.latitude,
        longitude=station.longitude,
        timezone=station.timezone,
        times=tuple(start + step * hour_grid.HOUR for step in range(number)),
        c=values,
        issued=(issued,) * number,
        extra_sd_c=(0.0,) * number,
        filled=(False,) * number,
        sources=(station.label,),
        credits=(),
    )


def make_forecast(truth: Hours, drawn: Draws, *, place: int, together: float) -> Hours:
    """Return a forecast of the real hours: the truth minus one draw of the error that a check assumes."""
    issued = truth.issued[0]
    if issued is None:
        raise ValueError("The hours name no issue.")
    leads = np.array([(at - issued).total_seconds() / SECONDS_AN_HOUR / 24 for at in truth.times])
    local = np.array([at.astimezone(truth.zone).hour for at in truth.times], dtype=float)
    error = error_c(
        drawn,
        hour=np.arange(len(truth.times)),
        local_hour=local,
        sd=sd_c(leads, local, season_at(issued, truth.latitude)),
        place=place,
        together=together,
    )[:, 0]
    values = tuple(None if value is None else value - float(off) for value, off in zip(truth.c, error, strict=True))
    return replace(truth, c=values)
