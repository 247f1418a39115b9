"""Steps of actions: places by rounded coordinates, and hours kept as received."""

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

# Sources on the network.
FETCHED = (Forecast.Source.NWS, Forecast.Source.MET, Forecast.Source.OPEN_METEO)


class PlaceUnknown(ValidationError):
    """The coordinates are not a place with weather."""


def place_for(
    latitude: Decimal | float | str | None, longitude: Decimal | float | str | None, timezone: str, label: str
) -> Place:
    """Return the place at these coordinates, rounded to 0.01°; creates it if it is new.

    Raises PlaceUnknown, with the remedy, if coordinates are missing, off the earth, 0,0 (which postcode tables use for
    "unknown") or outside the time zone.
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
    """Keep hours as received, with their gaps; `hours_c` (°C) begins at the whole UTC hour `starts_at`."""
    return Forecast.objects.create(
        place=place,
        source=source,
        issued_at=issued_at,
        received_at=received_at,
        starts_at=hour_grid.floor_hour(starts_at),
        hours_c=[None if value is None else round(value, 2) for value in hours_c],
        daily=list(daily),
        extra_sd_c=extra_sd_c,
        credit=credit,
        by=by,
    )


def keep_fetched(place: Place, fetched: FetchedForecast) -> Forecast:
    """Keep the hours of a service, with the step and spread of each hour and their origin."""
    forecast = keep_hours(
        place,
        Forecast.Source(fetched.service),
        fetched.hours.starts_at,
        fetched.hours.c,
        issued_at=fetched.issued_at,
        received_at=fetched.fetched_at,
        credit=fetched.credit,
    )
    forecast.quality = fetched.hours.quality
    forecast.spread_c = [None if sd is None else round(sd, 2) for sd in fetched.hours.spread_c]
    forecast.provenance = {
        "model": fetched.model,
        "issued_is_estimate": fetched.issued_is_estimate,
        "latitude": fetched.grid_latitude,
        "longitude": fetched.grid_longitude,
        "elevation_m": fetched.grid_elevation_m,
        "sha256": fetched.digest,
        "remarks": list(fetched.remarks),
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
    """Keep real hours of 2013 as this place's next hours, for the demo; the credit says so.

    `read_from` is the time in 2013 shown at `shown_from`; every hour moves by `shift_c` °C.
    """
    values = sample_data.station_slice(station, read_from, hours)
    moved = [None if value is None else value + shift_c for value in values]
    shift_text = f", moved by {shift_c:+.1f} °C" if shift_c else ""
    return keep_hours(
        place,
        Forecast.Source.RECORDED,
        shown_from,
        moved,
        issued_at=issued_at,
        received_at=issued_at,
        credit=f"{sample_data.CREDIT}: {sample_data.STATIONS[station].label} from {read_from:%-d %B %Y}{shift_text}",
        by=by,
    )
