"""Turn local times into UTC: refuse an hour that the clocks skip, tell apart an hour that comes twice."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo


class NoSuchTime(ValueError):
    """This local time never was: the clocks went forward over it, or the calendar ends there."""


def utc_moments(local: datetime, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the two UTC moments of a naive local time: the same one twice unless the clocks go back over it.

    Raises NoSuchTime for a time that the clocks skip, and for one outside the calendar.
    """
    try:
        first = local.replace(tzinfo=zone, fold=0).astimezone(UTC)
        second = local.replace(tzinfo=zone, fold=1).astimezone(UTC)
    except OverflowError:
        raise NoSuchTime(f"{local:%Y-%m-%d %H:%M} is outside the calendar. Correct the year.") from None
    if first.astimezone(zone).replace(tzinfo=None) != local:
        raise NoSuchTime(
            f"{local:%Y-%m-%d %H:%M} does not exist in {zone.key}: the clocks went forward over it. "
            "Give the times with their offset, or choose the zone they were read in."
        )
    return first, second


def moment(on: date, at: time, zone: ZoneInfo) -> datetime:
    """Return the UTC moment of a clock time on a day; a time that the clocks skip gives the moment they jump to."""
    return datetime.combine(on, at.replace(tzinfo=None), tzinfo=zone).astimezone(UTC)
