"""The line chart of a place's hours: gaps stay gaps, and the axis fits the values."""

from datetime import datetime, timedelta
from math import ceil, floor
from typing import Any
from zoneinfo import ZoneInfo

from breeder.core.transit.weather_hours import Hours
from breeder.core.units import degrees, to_fahrenheit
from breeder.weather import hour_grid
from breeder.weather.models import Forecast

WIDTH, HEIGHT = 1000, 300
LEFT, RIGHT, TOP, BOTTOM = 62, 985, 14, 262
DAY_Y = 286
LEAST_DAY_WIDTH = 58

LONGEST_SHOWN = timedelta(days=10)
SHOWN_BEFORE_NOW = timedelta(hours=24)


def shown_window(newest: Forecast, now: datetime) -> tuple[datetime, datetime]:
    """Return the hours to show: from yesterday on, or the last days if all of them are in the past."""
    ends = newest.starts_at + (len(newest.hours_c) - 1) * hour_grid.HOUR
    start = max(newest.starts_at, now - SHOWN_BEFORE_NOW)
    if start >= ends:
        return max(newest.starts_at, ends - LONGEST_SHOWN), ends
    return start, min(ends, start + LONGEST_SHOWN)


def hours_chart(hours: Hours, *, fahrenheit: bool) -> dict[str, Any] | None:
    """Return the coordinates and texts for the template; None if no hour is known."""
    values = [value if value is None or not fahrenheit else to_fahrenheit(value) for value in hours.c]
    known = [value for value in values if value is not None]
    if not known:
        return None
    step = 10 if fahrenheit else 5
    bottom, top = floor(min(known)) - 1, ceil(max(known)) + 1
    last = max(1, len(values) - 1)

    def x(hour: float) -> float:
        return round(LEFT + hour / last * (RIGHT - LEFT), 1)

    def y(value: float) -> float:
        return round(BOTTOM - (value - bottom) / (top - bottom) * (BOTTOM - TOP), 1)

    rounds = range(ceil(bottom / step) * step, top + 1, step)
    zone = hours.zone
    return {
        "width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM, "day_y": DAY_Y,
        "line": _path(values, x, y),
        "ticks": [{"y": y(value), "label": f"{value}°".replace("-", "\u2212")} for value in rounds],
        "days": _days(hours, zone, x),
        "unit": "°F" if fahrenheit else "°C",
        "first": hours.times[0].astimezone(zone), "last": hours.times[-1].astimezone(zone),
        "low": degrees(min(value for value in hours.c if value is not None), fahrenheit=fahrenheit),
        "high": degrees(max(value for value in hours.c if value is not None), fahrenheit=fahrenheit),
        "rows": _rows(hours, zone, values),
    }  # fmt: skip


def _path(values: list[float | None], x: Any, y: Any) -> str:
    steps, pen_down = [], False
    for hour, value in enumerate(values):
        if value is not None:
            steps.append(f"{'L' if pen_down else 'M'}{x(hour)} {y(value)}")
        pen_down = value is not None
    return "".join(steps)


def _days(hours: Hours, zone: ZoneInfo, x: Any) -> list[dict[str, Any]]:
    """Return the start of each local day; a label that would run into the next is left out."""
    starts = [(index, at.astimezone(zone)) for index, at in enumerate(hours.times)]
    midnights = [(index, at) for index, at in starts if at.hour == 0]
    room = x(24) - x(0)
    every = max(1, ceil(LEAST_DAY_WIDTH / room)) if room else 1
    return [
        {"x": x(index), "label": f"{at:%a %-d}" if number % every == 0 and RIGHT - x(index) > LEAST_DAY_WIDTH else ""}
        for number, (index, at) in enumerate(midnights)
    ]


def _rows(hours: Hours, zone: ZoneInfo, values: list[float | None]) -> list[dict[str, Any]]:
    """Return the low and high of each local day, for the table next to the chart."""
    by_day: dict[Any, list[float | None]] = {}
    for at, value in zip(hours.times, values, strict=True):
        by_day.setdefault(at.astimezone(zone).date(), []).append(value)
    rows = []
    for on, day_values in by_day.items():
        known = [value for value in day_values if value is not None]
        rows.append(
            {
                "on": on,
                "low": min(known, default=None),
                "high": max(known, default=None),
                "known": len(known),
                "missing": len(day_values) - len(known),
            }
        )
    return rows
