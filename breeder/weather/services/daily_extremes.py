"""Highs of the days and lows of the nights that the US service gives beside its hours: no hour may hide them.

The hours are whole °F on the hour; a high or low between them is lost, on the side that harms animals. Hours are bent
until they meet the extreme, and are never made milder by it.
"""

from collections.abc import Mapping, MutableMapping
from datetime import datetime
from typing import Any

from breeder.weather import hour_grid
from breeder.weather.services import interpolation, strict_json
from breeder.weather.services.errors import BadResponse
from breeder.weather.services.intervals import hours_within, interval

WARMEST, COLDEST = ("maxTemperature", 1), ("minTemperature", -1)

# The windows are 13 hours of the day and 14 of the night; a longer one speaks of no single day.
LONGEST_WINDOW_H = 24
# No more was ever lost of a day's high or low where only every sixth hour was kept (New York airports 2013); an extreme
# farther off contradicts its hours, and which of the two is wrong nobody can say.
CLIPPED_AT_MOST_C = 5.0

Values = MutableMapping[datetime, float | None]


def meet(service: str, properties: Mapping[str, Any], values: Values) -> tuple[set[datetime], list[str]]:
    """Bend hours to the extremes in place; return the hours with extremes around them, and what is to be remarked."""
    around: list[set[datetime]] = []
    contradictions = 0
    for name, way in (WARMEST, COLDEST):
        met: set[datetime] = set()
        for hours, extreme in _windows(service, properties, name):
            believed = _bend(values, hours, extreme, way)
            contradictions += not believed
            met |= set(hours) if believed else set()
        around.append(met)
    said = f"{contradictions} highs or lows contradict their hours and were left out"
    return _between(*around), [said] if contradictions else []


def _between(days: set[datetime], nights: set[datetime]) -> set[datetime]:
    """Return the hours of both kinds of window where both kinds are there; a lone kind tells only half."""
    return days | nights if days and nights else set()


def _windows(service: str, properties: Mapping[str, Any], name: str) -> list[tuple[list[datetime], float]]:
    """Return the hours and the extreme of each window; nothing where the layer is missing, empty or in another unit."""
    layer = properties.get(name)
    rows = layer.get("values") if isinstance(layer, dict) else None
    if not isinstance(layer, dict) or not isinstance(rows, list) or not rows:
        return []
    try:
        strict_json.in_celsius(service, layer.get("uom"))
    except BadResponse:
        return []
    found = []
    for row in rows:
        span = interval(row.get("validTime")) if isinstance(row, dict) else None
        extreme = strict_json.air_c(row.get("value")) if isinstance(row, dict) else None
        if span is None or extreme is None or (span[1] - span[0]) / hour_grid.HOUR > LONGEST_WINDOW_H:
            continue
        found.append((hours_within(*span), extreme))
    return found


def _bend(values: Values, hours: list[datetime], extreme: float, way: int) -> bool:
    """Bend the hours of a window to its extreme, and return whether the extreme can be believed beside them."""
    known = [value for at in hours if (value := values.get(at)) is not None]
    if not known or len(known) < len(hours):
        # A window that began before the hours, or has a gap: its extreme may lie where nothing is known.
        return bool(known)
    lost = min(way * (extreme - value) for value in known)
    if lost > CLIPPED_AT_MOST_C:
        return False
    values.update(zip(hours, interpolation.met(known, extreme, way), strict=True))
    return True
