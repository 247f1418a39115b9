"""Turn the hours of one place into arrays: the forecast air, how far it may be off, and the sun."""

from dataclasses import dataclass, fields, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from hashlib import blake2b
from math import asin, cos, radians, sin, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from breeder.core.thermal import forecast_error, sun
from breeder.core.transit.itinerary import HOUR
from breeder.core.transit.weather_hours import Hours

Array = NDArray[np.float64]
PER_HOUR = [field for field in fields(Hours) if field.type not in (str, float)]  # also the names of sources

ONE_DAY = timedelta(days=1)
EARTH_KM = 6371.0
# With fewer known hours than this, a day does not show how clear its sky is.
LEAST_HOURS_OF_DAY = 18


@dataclass(frozen=True, eq=False)
class PlaceAir:
    """The hours of one place as arrays over `hours.times`: NaN where there is no forecast; light in W/m²."""

    hours: Hours
    middle_c: Array
    lead_days: Array
    extra_sd_c: Array
    sd_share: Array
    local_hour: Array
    light: Array

    @cached_property
    def digest(self) -> bytes:
        """Return a digest of everything that a result for this air depends on."""
        digest = blake2b(
            repr((self.hours.latitude, self.hours.longitude, self.hours.timezone)).encode(), digest_size=16
        )
        digest.update(self.hours.times[0].isoformat().encode())
        for field in fields(self):
            if isinstance(values := getattr(self, field.name), np.ndarray):
                digest.update(values.tobytes())
        return digest.digest()

    def __getstate__(self) -> dict[str, Any]:
        """Return only what another process needs: the arrays, the place, and the first hour."""
        first_hour = {field.name: getattr(self.hours, field.name)[:1] for field in PER_HOUR}
        return {field.name: getattr(self, field.name) for field in fields(self)} | {
            "hours": replace(self.hours, **first_hour)
        }

    def sd_c(self, season: str) -> Array:
        """Return the usual error of each hour in a season, °C."""
        if season not in self._sd_c:
            self._sd_c[season] = spread_c(self.lead_days, self.local_hour, self.extra_sd_c, self.sd_share, season)
        return self._sd_c[season]

    @cached_property
    def _sd_c(self) -> dict[str, Array]:
        return {}

    def index_at(self, at: datetime) -> int:
        """Return the index of a whole hour."""
        return round((at - self.hours.times[0]) / HOUR)


def window(values: Array, start: int, number: int, beyond: float = np.nan) -> Array:
    """Return `number` values from index `start` on, and `beyond` outside the array."""
    values_out = np.full(number, beyond)
    first, last = max(start, 0), min(start + number, len(values))
    if first < last:
        values_out[first - start : last - start] = values[first:last]
    return values_out


def hours_to_air(hours: Hours) -> PlaceAir:
    """Return the hours of a place as arrays."""
    leads = [
        0.0 if issued is None else (at - issued) / HOUR / 24
        for at, issued in zip(hours.times, hours.issued, strict=True)
    ]
    zone = hours.zone
    return PlaceAir(
        hours,
        np.array([np.nan if value is None else value for value in hours.c], dtype=float),
        np.array(leads),
        np.array(hours.extra_sd_c, dtype=float),
        np.array(hours.sd_share or (1.0,) * len(hours.times), dtype=float),
        np.array([at.astimezone(zone).hour for at in hours.times], dtype=float),
        sunlight_w_m2(hours, hours.times),
    )


@dataclass(frozen=True)
class Ends:
    """The hours of both ends of a journey, covering whole local days for every case."""

    origin: Hours
    destination: Hours

    @cached_property
    def airs(self) -> tuple[PlaceAir, PlaceAir]:
        """Return both as arrays."""
        return hours_to_air(self.origin), hours_to_air(self.destination)


def distance_km(place: Hours, other: Hours) -> float:
    """Return the distance between two places in km (haversine on a round earth)."""
    north = radians(other.latitude - place.latitude) / 2
    east = radians(other.longitude - place.longitude) / 2
    part = sin(north) ** 2 + cos(radians(place.latitude)) * cos(radians(other.latitude)) * sin(east) ** 2
    return 2 * EARTH_KM * asin(sqrt(min(1.0, part)))


def spread_c(lead_days: Array, local_hour: Array, extra_sd_c: Array, share: Array, season: str) -> Array:
    """Return the error of each hour, °C: the usual one times the learned `share`, plus that of its kind of source."""
    return np.hypot(share * forecast_error.sd_c(lead_days, local_hour, season), extra_sd_c)


def season_at(at: datetime, latitude: float) -> str:
    """Return the meteorological season at a latitude."""
    return forecast_error.season_name(at.month, latitude)


def sunlight_w_m2(hours: Hours, times: tuple[datetime, ...]) -> Array:
    """Return the sun on level ground at each hour, W/m²: above the atmosphere, times the clearness of the day.

    NaN by day if too few hours of that day are known; 0 at night in any case.
    """
    zone = hours.zone
    days, hour = (np.array(column) for column in zip(*((at.timetuple().tm_yday, at.hour) for at in times), strict=True))
    above = sun.above_air_w_m2(days, hour, hours.latitude, hours.longitude)
    through = clearness_by_day(hours, {at.astimezone(zone).date() for at in times})
    clear = np.array([through[at.astimezone(zone).date()] for at in times])
    return np.where(above > 0, above * clear, 0.0)


def clearness_by_day(hours: Hours, days: set[date]) -> dict[date, float]:
    """Return the share of sun that comes through on each local day, from its low and high; NaN if unknown.

    A day with missing hours borrows hours from the day before and the day after.
    """
    zone = hours.zone
    local = [at.astimezone(zone) for at in hours.times]
    clearness = {}
    for day in days:
        day_hours = [hours.c[index] for index, at in enumerate(local) if at.date() == day]
        known = [value for value in day_hours if value is not None]
        if len(known) < len(day_hours) or len(day_hours) < LEAST_HOURS_OF_DAY:
            near = [
                value for at, value in zip(local, hours.c, strict=True)
                if value is not None and abs((at.date() - day).days) <= 1
            ]  # fmt: skip
            known = near if len(near) >= LEAST_HOURS_OF_DAY else []
        clearness[day] = float(sun.clearness(min(known), max(known))) if known else float("nan")
    return clearness
