"""People of the invented breeder and the weather of their places: real hours of 2013, shown as this week's."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from breeder.base.models import Setting
from breeder.base.postcodes import us_place
from breeder.management.demo_data.demo_stock import rows
from breeder.people.models import Address, Person
from breeder.weather import steps

DAYS = 10
HOME_POSTCODE = "13326"  # Cooperstown, New York


@dataclass(frozen=True)
class RecordedStretch:
    """Real hours shown as a place's next days: station, the day of 2013 shown on the shipping day, days known."""

    station: str
    month: int
    day: int
    days: int = DAYS


ALL_YEAR = "all year"


@dataclass(frozen=True)
class Weather:
    """Which weather the demo shows: how much warmer than it really was, and the season at every place."""

    warmer_c: float = 0.0
    season: str = ALL_YEAR


# Chosen so that every verdict occurs on any date; the page says where the hours come from.
SEASONS = {
    ALL_YEAR: {
        "home": RecordedStretch("LGA", 5, 12),
        "mild": RecordedStretch("JFK", 5, 14),
        "cool": RecordedStretch("LGA", 4, 2),
        "cold": RecordedStretch("LGA", 2, 12),
        "bitter": RecordedStretch("LGA", 1, 22),
        "warm": RecordedStretch("JFK", 6, 3),
        "hot": RecordedStretch("LGA", 7, 14),
        "short": RecordedStretch("JFK", 5, 14, days=2),
    },
    "winter": {
        "home": RecordedStretch("LGA", 2, 4),
        "mild": RecordedStretch("JFK", 1, 28),
        "cool": RecordedStretch("LGA", 1, 14),
        "cold": RecordedStretch("LGA", 2, 4),
        "bitter": RecordedStretch("LGA", 1, 22),
        "warm": RecordedStretch("JFK", 1, 10),
        "hot": RecordedStretch("JFK", 12, 20),
        "short": RecordedStretch("JFK", 1, 14, days=2),
    },
    "summer": {
        "home": RecordedStretch("LGA", 7, 8),
        "mild": RecordedStretch("JFK", 6, 10),
        "cool": RecordedStretch("LGA", 6, 8),
        "cold": RecordedStretch("JFK", 8, 12),
        "bitter": RecordedStretch("LGA", 8, 24),
        "warm": RecordedStretch("JFK", 7, 8),
        "hot": RecordedStretch("LGA", 7, 14),
        "short": RecordedStretch("JFK", 7, 22, days=2),
    },
}


def write_people(now: datetime) -> list[Address]:
    """Write people and their addresses, each with its rounded place."""
    return [_address(row, now) for row in rows("people.csv")]


def _address(row: dict[str, str], now: datetime) -> Address:
    person = Person.objects.create(
        name=row["name"],
        kind=row["kind"],
        email=f"{row['name'].split()[0].lower()}@example.org",
        consent_on=(now - timedelta(days=300)).date(),
    )
    place = us_place(row["postcode"])
    return Address.objects.create(
        person=person,
        block=f"{row['name']}\n{row['street']}\n{row['town']} {row['region']} {row['postcode']}",
        postcode=row["postcode"],
        town=row["town"],
        region=f"US-{row['region']}",
        latitude=place.latitude if place else None,
        longitude=place.longitude if place else None,
        timezone=place.timezone if place else "",
    )


def write_household() -> Setting:
    """Write the settings of the invented breeder."""
    home = us_place(HOME_POSTCODE)
    return Setting.objects.create(
        pk=Setting.ONLY,
        trade_name="Hollow Log Isopods",
        return_address="Hollow Log Isopods\nImogen Wray\n12 Tannery Lane\nCooperstown NY 13326",
        terms="Tell me within a day, with a photo, if anything arrives dead; I replace or refund what died.",
        timezone=home.timezone if home else "America/New_York",
        latitude=home.latitude if home else None,
        longitude=home.longitude if home else None,
        region=home.region if home else "",
        demo=True,
    )


def write_weather(setting: Setting, addresses: list[Address], now: datetime, posted_on: date, weather: Weather) -> int:
    """Write a forecast for home and for every address, and return how many.

    Hours are shifted so that `posted_on` shows the same day of 2013 on whatever weekday the demo is made.
    """
    kinds = {row["postcode"]: row["weather"] for row in rows("people.csv")}
    ahead = (posted_on - now.date()).days
    stretches = SEASONS[weather.season]
    home = (setting.latitude, setting.longitude, setting.timezone, "Home")
    _forecast(*home, stretches["home"], now, ahead, weather.warmer_c)
    for address in addresses:
        stretch = stretches[kinds[address.postcode]]
        there = (address.latitude, address.longitude, address.timezone, address.town)
        _forecast(*there, stretch, now, ahead, weather.warmer_c)
    return len(addresses) + 1


def _forecast(
    north: Any, east: Any, zone: str, label: str, stretch: RecordedStretch, now: datetime, ahead: int, warmer_c: float
) -> None:
    place = steps.place_for(north, east, zone, label)
    shown_from = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0) - timedelta(hours=6)
    # The same hour of day as the hour it is shown as, so that nights stay nights.
    first = datetime(2013, stretch.month, stretch.day, shown_from.hour, tzinfo=UTC)
    read_from = first - timedelta(days=(now.date() - shown_from.date()).days + ahead)
    steps.keep_recorded(
        place,
        stretch.station,
        read_from=read_from,
        shown_from=shown_from,
        hours=(ahead + stretch.days) * 24,
        issued_at=now - timedelta(hours=2),
        shift_c=warmer_c,
    )
