"""Where a US postcode lies, offline; places are rounded to 0.01° (about 1 km), which is all that weather needs."""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from functools import cache
from zoneinfo import ZoneInfo, available_timezones

import zipcodes

US_POSTCODE = re.compile(r"[0-9]{5}(-[0-9]{4})?")
HUNDREDTH = Decimal("0.01")
DEGREES_AN_HOUR = 15

# The zone database is some 600 files; asking for their names opens them all.
zone_names = cache(available_timezones)
AREAS = (
    "Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific",
)  # fmt: skip

# China keeps one zone over 60° of longitude, the widest there is; a lost minus sign is off by more.
WIDEST_ZONE_DEGREES = 50


@dataclass(frozen=True)
class Place:
    """A place as it may be kept: WGS 84 degrees to 0.01, zone by its IANA name."""

    latitude: Decimal
    longitude: Decimal
    timezone: str
    town: str = ""
    region: str = ""


def to_hundredth(degrees: Decimal | float | str) -> Decimal:
    """Return degrees rounded to 0.01, so that no doorstep is ever stored as a place."""
    return Decimal(str(degrees)).quantize(HUNDREDTH)


def us_place(postcode: str) -> Place | None:
    """Return the place of a US postcode; None where the table lacks place or zone, or for another country's.

    Source: the table of the package `zipcodes` (places by GeoNames, CC BY 4.0); 872 of its rows hold 0, 0 for unknown.
    """
    # The table's own reader stops the whole thread on digits of other scripts, so the shape is checked before it.
    if not US_POSTCODE.fullmatch(postcode.strip()) or not (rows := zipcodes.matching(postcode.strip())):
        return None
    row = rows[0]
    latitude, longitude = to_hundredth(row["lat"]), to_hundredth(row["long"])
    if latitude == 0 and longitude == 0:
        return None
    if row["timezone"] not in zone_names():  # one row names a town where the zone belongs
        return None
    return Place(latitude, longitude, row["timezone"], town=row["city"], region=f"US-{row['state']}")


def zone_named(typed: str) -> str:
    """Return the IANA name of a zone typed in any case, with spaces or underscores; the text as typed if there is none.

    "america/new york" gives "America/New_York".
    """
    return _zones_by_key().get(typed.strip().replace(" ", "_").casefold(), typed)


def fault_of_zone(timezone: str) -> str:
    """Return what is wrong with a zone's name, with the remedy; an empty text for a name in the zone database."""
    if timezone in zone_names():
        return ""
    city = timezone.strip().replace(" ", "_").casefold()
    meant = sorted(name for name in zone_names() if city and name.casefold().endswith(f"/{city}"))
    remedy = f"Write {meant[0]}." if meant else "Write a name such as America/Chicago or Europe/Berlin."
    return f"‘{timezone}’ is not a time zone. {remedy}"


@cache
def _zones_by_key() -> dict[str, str]:
    return {name.casefold(): name for name in zone_names()}


def fault_of_place(latitude: Decimal, longitude: Decimal, timezone: str) -> str:
    """Return what is wrong with a place typed by hand, with the remedy; an empty text if it can be."""
    if abs(latitude) > 90:
        swapped = " Latitude and longitude seem to be swapped." if abs(longitude) <= 90 else ""
        return f"Latitude is {latitude}; it lies between -90 and 90.{swapped}"
    if abs(longitude) > 180:
        return f"Longitude is {longitude}; it lies between -180 and 180."
    if to_hundredth(latitude) == 0 and to_hundredth(longitude) == 0:
        return "Latitude and longitude are both 0, in the sea off Africa. Type the real place, or leave both empty."
    if fault := fault_of_zone(timezone):
        return fault
    return _fault_of_zone(float(longitude), timezone)


def _fault_of_zone(longitude: float, timezone: str) -> str:
    if _degrees_off(longitude, timezone) <= WIDEST_ZONE_DEGREES:
        return ""
    west = _degrees_off(-longitude, timezone) <= WIDEST_ZONE_DEGREES
    remedy = "Places in the west have a minus sign, places in the east have none." if west else "Check both."
    return f"Longitude {longitude:g} does not lie in the time zone {timezone}. {remedy}"


def _degrees_off(longitude: float, timezone: str) -> float:
    """Return how far a longitude lies from the middle of a zone's winter time, round the globe."""
    midwinters = (datetime(2025, month, 1, tzinfo=ZoneInfo(timezone)) for month in (1, 7))
    ahead_h = min((at.utcoffset() or timedelta()).total_seconds() for at in midwinters) / 3600
    return abs((longitude - ahead_h * DEGREES_AN_HOUR + 180) % 360 - 180)
