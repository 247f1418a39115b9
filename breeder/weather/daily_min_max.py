"""Daily lows and highs typed by hand, turned into hours along the usual course of a day (Parton and Logan 1981)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.core.exceptions import ValidationError

from breeder.base.dates import weekday_said
from breeder.core.thermal.diurnal import SHAPE_ERROR_C, parton_logan
from breeder.core.thermal.sun import sunrise_sunset_h
from breeder.core.units import degrees
from breeder.weather import hour_grid, plausibility

# How far real hours stray from the usual course of a day between a true low and high, °C rms.
SHAPE_SD_C = SHAPE_ERROR_C

MOST_DAYS = 10
ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class DayExtremes:
    """The lowest and highest temperature of one local day, °C."""

    on: date
    low_c: float
    high_c: float


def day_faults(days: Sequence[DayExtremes], *, fahrenheit: bool, sure: bool = False) -> list[str]:
    """Return a sentence for each fault of the typed days, with the day, the value and the remedy."""
    sentences = []
    for day in days:
        name = weekday_said(day.on)
        for word, value in (("low", day.low_c), ("high", day.high_c)):
            if wrong := plausibility.temperature_fault(value, fahrenheit=fahrenheit, sure=sure):
                sentences.append(f"{name}, {word}: {wrong}")
        if day.low_c > day.high_c:
            low, high = (degrees(value, fahrenheit=fahrenheit) for value in (day.low_c, day.high_c))
            sentences.append(f"{name}: the low of {low} is above the high of {high}. Swap them, or mend one.")
    return sentences


def checked_days(days: Sequence[DayExtremes], *, fahrenheit: bool, sure: bool = False) -> list[DayExtremes]:
    """Return the days in order. Raises ValidationError with all faults at once."""
    ordered = sorted(days, key=lambda day: day.on)
    faults = day_faults(ordered, fahrenheit=fahrenheit, sure=sure)
    if not ordered:
        faults.append("No day is filled in. Type a low and a high for at least one day.")
    for before, after in zip(ordered, ordered[1:], strict=False):
        if after.on - before.on != ONE_DAY:
            faults.append(
                f"Between {weekday_said(before.on)} and {weekday_said(after.on)} the days must follow one another. "
                "Fill in every day between, or leave out what comes after."
            )
    if faults:
        raise ValidationError([ValidationError(sentence, code="by_hand") for sentence in faults])
    return ordered


def diurnal_hours(
    days: Sequence[DayExtremes], latitude: float, longitude: float, zone: ZoneInfo
) -> tuple[datetime, list[float | None]]:
    """Return the first whole UTC hour and the hourly °C of consecutive days; None where another day would be needed.

    Before the first sunrise the evening before is unknown, and after the last sunset the next low is: those hours stay
    missing rather than guessed.
    """
    suns = [sun_times(day.on, latitude, longitude, zone) for day in days]
    rises, sets = (np.array(column) for column in zip(*suns, strict=True))
    lows, highs = (np.array([getattr(day, name) for day in days]) for name in ("low_c", "high_c"))
    values = parton_logan(lows, highs, rises, sets)
    readings: list[tuple[datetime, float | None]] = []
    for number, day in enumerate(days):
        midnight = standard_midnight(day.on, zone)
        for hour in range(24):
            known = not (number == 0 and hour < rises[0]) and not (number == len(days) - 1 and hour > sets[-1])
            value = float(values[number * 24 + hour]) if known else None
            readings.append((midnight + timedelta(hours=hour), value))
    # Days could overlap by an hour where a zone changes its standard time: the earlier day's hour counts.
    unique = dict(reversed(readings))
    return hour_grid.on_whole_hours(sorted(unique.items()))


def standard_offset(on: date, zone: ZoneInfo) -> timedelta:
    """Return the UTC offset of a zone on a day, without daylight saving time."""
    noon = datetime.combine(on, time(12), tzinfo=zone)
    return (noon.utcoffset() or timedelta()) - (noon.dst() or timedelta())


def standard_midnight(on: date, zone: ZoneInfo) -> datetime:
    """Return the UTC time at which a day begins, without daylight saving time."""
    return datetime.combine(on, time(0), tzinfo=UTC) - standard_offset(on, zone)


def sun_times(on: date, latitude: float, longitude: float, zone: ZoneInfo) -> tuple[float, float]:
    """Return sunrise and sunset of a day in hours, without daylight saving time."""
    offset_h = standard_offset(on, zone).total_seconds() / 3600
    return sunrise_sunset_h(on.timetuple().tm_yday, latitude, longitude, offset_h)
