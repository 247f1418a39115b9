"""Reading an answer strictly: what is no JSON, holds NaN, lacks a key or names another unit is refused, not guessed."""

import json
from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from math import asin, cos, isfinite, radians, sin, sqrt
from typing import Any, NoReturn

from breeder.weather import hour_grid, plausibility
from breeder.weather.services.errors import BadResponse, StaleUpstream
from breeder.weather.services.hour_flags import mark
from breeder.weather.services.types import MISSING_MARK, Answer, Spot, SpotHours

# A forecast whose time of issue nobody says is taken to be this old when it is fetched.
UNKNOWN_AGE = timedelta(hours=12)
# Clocks differ by a little; an issue time further in the future is not believed.
CLOCKS_DIFFER = timedelta(minutes=10)
# After this a forecast is not used at all (dispatch leaves it out too), so it is not worth keeping.
LAPSES = timedelta(hours=48)

NUL = "\0"  # allowed in JSON, refused by PostgreSQL

DEGREES_C = {"degc", "c", "cel", "celsius", "°c"}
LONGEST_FORECAST_H = 24 * 40
EARTH_KM = 6371.0
# Cells are 2.5 to 25 km wide, so the middle of the right one is never farther off.
FARTHEST_KM = 50.0


def document(service: str, answer: Answer) -> dict[str, Any]:
    """Return the JSON object in an answer. Raises BadResponse."""
    kind = answer.headers.get("content-type", "").partition(";")[0].strip().lower()
    if "json" not in kind:
        raise BadResponse(service, "no JSON", f"it is {kind or 'of no named kind'}", status=answer.status)
    try:
        found = json.loads(answer.body, parse_constant=_no_such_number, object_pairs_hook=_each_once)
    except (ValueError, RecursionError):
        raise BadResponse(service, "broken", f"{len(answer.body)} bytes are no JSON", status=answer.status) from None
    if isinstance(found, list) and len(found) == 1:
        found = found[0]
    if not isinstance(found, dict):
        raise BadResponse(service, "shape", "it is no JSON object", status=answer.status)
    return found


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object whose names each come once: of two values for one name, neither can be chosen."""
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name comes twice in an object")
    if any(NUL in text for pair in pairs for text in pair if isinstance(text, str)):
        raise ValueError("a text holds a character that no database keeps")
    return found


def _no_such_number(token: str) -> NoReturn:
    raise ValueError(f"{token} is no JSON number")


def part(service: str, inside: Mapping[str, Any], name: str, kind: type) -> Any:
    """Return a part of a document that must be there. Raises BadResponse."""
    found = inside.get(name)
    if not isinstance(found, kind):
        raise BadResponse(service, "missing part", f"'{name}' is missing or of another kind")
    return found


def number(value: Any) -> float | None:
    """Return a finite number, or None for null, text, truth values and anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        found = float(value)
    except OverflowError:
        return None
    return found if isfinite(found) else None


def air_c(value: Any) -> float | None:
    """Return an air temperature, or None where it is missing or is none that air can have."""
    found = number(value)
    return found if found is not None and plausibility.COLDEST_C <= found <= plausibility.WARMEST_C else None


def in_celsius(service: str, unit: Any) -> None:
    """Raise BadResponse unless a unit is degrees Celsius, whatever stands before its last colon or stroke."""
    said = str(unit or "").replace("/", ":").rpartition(":")[2].strip().lower()
    if said not in DEGREES_C:
        raise BadResponse(service, "unit", f"'{str(unit)[:30]}' is not °C")


def utc(value: Any) -> datetime | None:
    """Return a moment written with its offset; None for anything else."""
    try:
        found = datetime.fromisoformat(value)
        return found.astimezone(UTC) if found.tzinfo is not None else None
    except (TypeError, ValueError, OverflowError):  # the last when its offset leads out of the calendar
        return None


def issued(service: str, said: datetime | None, fetched_at: datetime, now: datetime) -> tuple[datetime, bool]:
    """Return when a forecast was issued and whether that is a guess. Raises StaleUpstream for one past all use."""
    if said is None or said > now + CLOCKS_DIFFER:
        return fetched_at - UNKNOWN_AGE, True
    if now - said > LAPSES:
        raise StaleUpstream(service, said)
    return min(said, now), False


def hours_of(
    service: str,
    values: Mapping[datetime, float | None],
    steps: Mapping[datetime, int],
    spreads: Mapping[datetime, float | None] | None = None,
    anchored: Collection[datetime] = (),
) -> SpotHours:
    """Return hours from values on whole UTC hours; ends without a value are cut off. Raises BadResponse if none is.

    `anchored` are the hours around which the source also gave its highest and lowest.
    """
    known = sorted(at for at, value in values.items() if value is not None)
    if not known:
        raise BadResponse(service, "empty", "it holds no temperature")
    number_of = int((known[-1] - known[0]) / hour_grid.HOUR) + 1
    if number_of > LONGEST_FORECAST_H:
        raise BadResponse(service, "span", f"it claims to reach over {number_of // 24} days")
    times = [known[0] + step * hour_grid.HOUR for step in range(number_of)]
    found = tuple(values.get(at) for at in times)
    quality = "".join(
        MISSING_MARK if value is None else mark(steps.get(at, 1), anchored=at in anchored)
        for at, value in zip(times, found, strict=True)
    )
    spread = tuple(spreads.get(at) for at in times) if spreads else ()
    return SpotHours(times[0], found, quality, spread if any(one is not None for one in spread) else ())


def whole_hour(at: datetime) -> bool:
    """Return whether a moment is a whole UTC hour."""
    return hour_grid.hour_of(at) == at


def km_between(place: Spot, latitude: float, longitude: float) -> float:
    """Return the distance to a place in km (haversine, a round earth)."""
    north, east = radians(latitude - place.latitude) / 2, radians(longitude - place.longitude) / 2
    part = sin(north) ** 2 + cos(radians(place.latitude)) * cos(radians(latitude)) * sin(east) ** 2
    return 2 * EARTH_KM * asin(sqrt(min(1.0, part)))


def refuse_far(service: str, place: Spot, latitude: float | None, longitude: float | None) -> None:
    """Raise BadResponse where an answer says that it is for a place so far off that its air is another."""
    if latitude is None or longitude is None:
        return
    if (km := km_between(place, latitude, longitude)) > FARTHEST_KM:
        raise BadResponse(service, "far away", f"it is for a place {km:.0f} km off")


def finite(values: Sequence[float | None]) -> list[float]:
    """Return the values that are there."""
    return [value for value in values if value is not None]
