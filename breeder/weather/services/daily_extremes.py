"""Bend hours to the daily highs and nightly lows that the US service also gives, so that no extreme is lost.

Its hours are whole °F on the hour, which misses highs and lows between them, on the side that harms animals. Hours are
bent until they reach the extreme, and never become milder.
"""

from collections.abc import Mapping, MutableMapping
from datetime import datetime
from typing import Any

from breeder.weather import hour_grid
from breeder.weather.services import interpolation, strict_json
from breeder.weather.services.errors import BadResponse
from breeder.weather.services.intervals import hours_within, interval

WARMEST, COLDEST = ("maxTemperature", 1), ("minTemperature", -1)

# The windows are 13 hours of the day and 14 of the night; a longer one covers more than one day.
LONGEST_WINDOW_H = 24
# Keeping only every sixth hour never lost more of a day's high or low (New York airports 2013). An extreme farther off
# contradicts its hours, and there is no telling which is wrong.
CLIPPED_AT_MOST_C = 5.0

Values = MutableMapping[datetime, float | None]


def bend_to_extremes(service: str, properties: Mapping[str, Any], values: Values) -> tuple[set[datetime], list[str]]:
    """Bend hours to the extremes in place; return the hours with extremes around them, and the remarks."""
    around: list[set[datetime]] = []
    contradictions = 0
    for name, way in (WARMEST, COLDEST):
        met: set[datetime] = set()
        for hours, extreme in _windows(service, properties, name):
            believed = _bend(values, hours, extreme, way)
            contradictions += not believed
            met |= set(hours) if believed else set()
        around.append(met)
    remark = f"{contradictions} highs or lows contradict their hours and were left out"
    return _between(*around), [remark] if contradictions else []


def _between(days: set[datetime], nights: set[datetime]) -> set[datetime]:
    """Return the hours of both kinds of window, or none if one kind is missing: it would tell only half."""
    return days | nights if days and nights else set()


def _windows(service: str, properties: Mapping[str, Any], name: str) -> list[tuple[list[datetime], float]]:
    """Return the hours and the extreme of each window; none if the layer is missing, empty or in another unit."""
    layer = properties.get(name)
    rows = layer.get("values") if isinstance(layer, dict) else None
    if not isinstance(layer, dict) or not isinstance(rows, list) or not rows:
        return []
    try:
        strict_json.require_celsius(service, layer.get("uom"))
    except BadResponse:
        return []
    windows = []
    for row in rows:
        span = interval(row.get("validTime")) if isinstance(row, dict) else None
        extreme = strict_json.read_air_c(row.get("value")) if isinstance(row, dict) else None
        if span is None or extreme is None or (span[1] - span[0]) / hour_grid.HOUR > LONGEST_WINDOW_H:
            continue
        windows.append((hours_within(*span), extreme))
    return windows


def _bend(values: Values, hours: list[datetime], extreme: float, way: int) -> bool:
    """Bend the hours of a window to its extreme, and return whether the extreme agrees with them."""
    known = [value for at in hours if (value := values.get(at)) is not None]
    if not known or len(known) < len(hours):
        # The window began before the hours or has a gap: its extreme may lie in an unknown hour.
        return bool(known)
    lost = min(way * (extreme - value) for value in known)
    if lost > CLIPPED_AT_MOST_C:
        return False
    values.update(zip(hours, interpolation.bent_to_extreme(known, extreme, way), strict=True))
    return True
