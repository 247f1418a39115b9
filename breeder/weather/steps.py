"""Inner parts of actions: places by rounded coordinates, and hours kept as they were received."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.core.exceptions import ValidationError

from breeder.base.postcodes import fault_of_place, to_hundredth
from breeder.weather import hour_grid, sample_data
from breeder.weather.models import Forecast, Place
from breeder.weather.services.types import FetchedForecast

# Sources that are asked over the network.
FETCHED = (Forecast.Source.NWS, Forecast.Source.MET, Forecast.Source.OPEN_METEO)


class PlaceUnknown(ValidationError):
    """There is no place on earth to ask the weather of."""


def place_for(
    latitude: Decimal | float | str | None, longitude: Decimal | float | str | None, timezone: str, label: str
) -> Place:
    """Return the place kept at these coordinates, rounded to 0.01°, made if it is new.

    Raises PlaceUnknown, with the remedy, where coordinates are missing, off the earth, 0,0 (which postcode tables use
    for "unknown") or not in the time zone.
    """
    if latitude is None or longitude is None:
        raise PlaceUnknown(
            f"{label or 'This address'} has no place yet. Give the address a postcode, or its latitude and longitude.",
            code="no_place",
        )
    north, east = to_hundredth(latitude), to_hundredth(longitude)
    if known := Place.objects.filter(latitude=north, longitude=east).first():
        return known
    if fault := fault_of_place(north, east, timezone):
        raise PlaceUnknown(f"{label or 'This address'} has no place to ask the weather of. {fault}", code="place_fault")
    place, _ = Place.objects.get_or_create(
        latitude=north, longitude=east, defaults={"timezone": timezone, "label": label[:80] or f"{north}, {east}"}
    )
    return place


def keep_hours(
    place: Place,
    source: Forecast.Source,
    starts_at: datetime,
    hours_c: Sequence[float | None],
    *,
    issued_at: datetime,
    received_at: datetime,
    extra_sd_c: float = 0.0,
    credit: str = "",
    daily: Sequence[Any] = (),
    by: AbstractBaseUser | None = None,
) -> Forecast:
    """Keep hours as received, gaps as gaps; `hours_c` begins at the whole UTC hour `starts_at`."""
    return Forecast.objects.create(
        place=place,
        source=source,
        issued_at=issued_at,
        received_at=received_at,
        starts_at=hour_grid.hour_of(starts_at),
        hours_c=[None if value is None else round(value, 2) for value in hours_c],
        daily=list(daily),
        extra_sd_c=extra_sd_c,
        credit=credit,
        by=by,
    )


def keep_fetched(place: Place, found: FetchedForecast) -> Forecast:
    """Keep the hours of a service, with the step and spread of each and where they came from."""
    forecast = keep_hours(
        place,
        Forecast.Source(found.service),
        found.hours.starts_at,
        found.hours.c,
        issued_at=found.issued_at,
        received_at=found.fetched_at,
        credit=found.credit,
    )
    forecast.quality = found.hours.quality
    forecast.spread_c = [None if one is None else round(one, 2) for one in found.hours.spread_c]
    forecast.provenance = {
        "model": found.model,
        "issued_is_estimate": found.issued_is_estimate,
        "latitude": found.grid_latitude,
        "longitude": found.grid_longitude,
        "elevation_m": found.grid_elevation_m,
        "sha256": found.digest,
        "remarks": list(found.remarks),
    }
    forecast.save(update_fields=["quality", "spread_c", "provenance"])
    return forecast


def keep_recorded(
    place: Place,
    station: str,
    *,
    read_from: datetime,
    shown_from: datetime,
    hours: int,
    issued_at: datetime,
    shift_c: float = 0.0,
    by: AbstractBaseUser | None = None,
) -> Forecast:
    """Keep real hours of 2013 as if they were this place's next hours (for a demonstration, and said so in the credit).

    `read_from` is the moment of 2013 that stands for `shown_from`; `shift_c` moves every hour by so many °C.
    """
    values = sample_data.slice_of(station, read_from, hours)
    moved = [None if value is None else value + shift_c for value in values]
    said = f", moved by {shift_c:+.1f} °C" if shift_c else ""
    return keep_hours(
        place,
        Forecast.Source.RECORDED,
        shown_from,
        moved,
        issued_at=issued_at,
        received_at=issued_at,
        credit=f"{sample_data.CREDIT}: {sample_data.STATIONS[station].label} from {read_from:%-d %B %Y}{said}",
        by=by,
    )
