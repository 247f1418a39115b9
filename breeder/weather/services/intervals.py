"""Read ISO 8601 intervals as the US service writes them: start or end with a duration, or both ends."""

import re
from datetime import datetime, timedelta

from breeder.weather import hour_grid
from breeder.weather.services.strict_json import utc

DURATION = re.compile(r"P(?:(\d{1,4})W)?(?:(\d{1,4})D)?(?:T(?:(\d{1,4})H)?(?:(\d{1,4})M)?(?:(\d{1,5})S)?)?")


def duration(text: str) -> timedelta | None:
    """Return a duration such as PT3H, P1DT6H or P1W; None for months, years, an empty one or another form."""
    match = DURATION.fullmatch(text)
    if match is None or not any(match.groups()) or text.endswith("T"):
        return None
    weeks, days, hours, minutes, seconds = (int(digits or 0) for digits in match.groups())
    return timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)


def interval(text: object) -> tuple[datetime, datetime] | None:
    """Return start and end (UTC) of start/duration, duration/end or start/end; None if it cannot be read or is empty.

    The word NOW, which the service's schema allows, is no time and is not read.
    """
    first, stroke, second = str(text).partition("/")
    if not stroke:
        return None
    start, end = utc(first), utc(second)
    try:
        if start is None and end is not None and (length := duration(first)) is not None:
            start = end - length
        elif end is None and start is not None and (length := duration(second)) is not None:
            end = start + length
    except OverflowError:  # outside the calendar
        return None
    return (start, end) if start is not None and end is not None and start < end else None


def hours_within(start: datetime, end: datetime) -> list[datetime]:
    """Return the whole UTC hours from `start` on and before `end`."""
    first = (
        hour_grid.floor_hour(start)
        if hour_grid.floor_hour(start) == start
        else hour_grid.floor_hour(start) + hour_grid.HOUR
    )
    hours = []
    while first < end:
        hours.append(first)
        first += hour_grid.HOUR
    return hours
