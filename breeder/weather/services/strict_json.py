"""Read answers strictly: refuse invalid JSON, NaN, missing keys and other units instead of guessing."""

import json
from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from math import asin, cos, isfinite, radians, sin, sqrt
from typing import Any, NoReturn

from breeder.weather import hour_grid, plausibility
from breeder.weather.services.errors import BadResponse, StaleUpstream
from breeder.weather.services.hour_flags import hour_flag
from breeder.weather.services.types import MISSING_MARK, ServiceAnswer, Spot, SpotHours

# A forecast without an issue time counts as this old when it is fetched.
UNKNOWN_AGE = timedelta(hours=12)
# Clocks differ a little; an issue time further in the future is not believed.
CLOCKS_DIFFER = timedelta(minutes=10)
# After this a forecast is not used at all (the check leaves it out too), so it is not kept.
LAPSES = timedelta(hours=48)

NUL = "\0"  # allowed in JSON, refused by PostgreSQL

DEGREES_C = {"degc", "c", "cel", "celsius", "°c"}
LONGEST_FORECAST_H = 24 * 40
EARTH_KM = 6371.0
# Cells are 2.5 to 25 km wide, so the middle of the right cell is never farther away.
FARTHEST_KM = 50.0


def document(service: str, answer: ServiceAnswer) -> dict[str, Any]:
    """Return the JSON object in an answer. Raises BadResponse."""
    kind = answer.headers.get("content-type", "").partition(";")[0].strip().lower()
    if "json" not in kind:
        raise BadResponse(service, "no JSON", f"it is {kind or 'of no named kind'}", status=answer.status)
    try:
        value = json.loads(answer.body, parse_constant=_no_such_number, object_pairs_hook=_without_repeats)
    except (ValueError, RecursionError):
        raise BadResponse(service, "broken", f"{len(answer.body)} bytes are no JSON", status=answer.status) from None
    if isinstance(value, list) and len(value) == 1:
        value = value[0]
    if not isinstance(value, dict):
        raise BadResponse(service, "shape", "it is no JSON object", status=answer.status)
    return value


def _without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object whose names are unique; raises ValueError otherwise, since neither value can be trusted."""
    unique = dict(pairs)
    if len(unique) < len(pairs):
        raise ValueError("a name comes twice in an object")
    if any(NUL in text for pair in pairs for text in pair if isinstance(text, str)):
        raise ValueError("a text holds a character that no database keeps")
    return unique


def _no_such_number(token: str) -> NoReturn:
    raise ValueError(f"{token} is no JSON number")


def required_part(service: str, inside: Mapping[str, Any], name: str, kind: type) -> Any:
    """Return a required part of a document. Raises BadResponse if it is missing or of another type."""
    value = inside.get(name)
    if not isinstance(value, kind):
        raise BadResponse(service, "missing part", f"'{name}' is missing or of another kind")
    return value


def number(value: Any) -> float | None:
    """Return a finite number, or None for null, text, booleans and anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        finite_value = float(value)
    except OverflowError:
        return None
    return finite_value if isfinite(finite_value) else None


def read_air_c(value: Any) -> float | None:
    """Return an air temperature (°C), or None if it is missing or implausible."""
    celsius = number(value)
    return celsius if celsius is not None and plausibility.COLDEST_C <= celsius <= plausibility.WARMEST_C else None


def require_celsius(service: str, unit: Any) -> None:
    """Raise BadResponse unless a unit is degrees Celsius, ignoring any prefix up to the last colon or slash."""
    name = str(unit or "").replace("/", ":").rpartition(":")[2].strip().lower()
    if name not in DEGREES_C:
        raise BadResponse(service, "unit", f"'{str(unit)[:30]}' is not °C")


def utc(value: Any) -> datetime | None:
    """Return the UTC time of a text with an offset; None for anything else."""
    try:
        moment = datetime.fromisoformat(value)
        return moment.astimezone(UTC) if moment.tzinfo is not None else None
    except (TypeError, ValueError, OverflowError):  # OverflowError: outside the calendar
        return None


def issue_time(service: str, issued_at: datetime | None, fetched_at: datetime, now: datetime) -> tuple[datetime, bool]:
    """Return the issue time and whether it is an estimate. Raises StaleUpstream for one too old to use."""
    if issued_at is None or issued_at > now + CLOCKS_DIFFER:
        return fetched_at - UNKNOWN_AGE, True
    if now - issued_at > LAPSES:
        raise StaleUpstream(service, issued_at)
    return min(issued_at, now), False


def spot_hours(
    service: str,
    values: Mapping[datetime, float | None],
    steps: Mapping[datetime, int],
    spreads: Mapping[datetime, float | None] | None = None,
    anchored: Collection[datetime] = (),
) -> SpotHours:
    """Return hours from values on whole UTC hours, without empty ends. Raises BadResponse if all are empty.

    `anchored`: hours around which the source also gave a high and a low.
    """
    known = sorted(at for at, value in values.items() if value is not None)
    if not known:
        raise BadResponse(service, "empty", "it holds no temperature")
    count = int((known[-1] - known[0]) / hour_grid.HOUR) + 1
    if count > LONGEST_FORECAST_H:
        raise BadResponse(service, "span", f"it claims to reach over {count // 24} days")
    times = [known[0] + step * hour_grid.HOUR for step in range(count)]
    hours_c = tuple(values.get(at) for at in times)
    quality = "".join(
        MISSING_MARK if value is None else hour_flag(steps.get(at, 1), anchored=at in anchored)
        for at, value in zip(times, hours_c, strict=True)
    )
    spread = tuple(spreads.get(at) for at in times) if spreads else ()
    return SpotHours(times[0], hours_c, quality, spread if any(sd is not None for sd in spread) else ())


def is_whole_hour(at: datetime) -> bool:
    """Return whether a moment is a whole UTC hour."""
    return hour_grid.floor_hour(at) == at


def km_between(place: Spot, latitude: float, longitude: float) -> float:
    """Return the distance to a place in km (haversine, spherical earth)."""
    north, east = radians(latitude - place.latitude) / 2, radians(longitude - place.longitude) / 2
    part = sin(north) ** 2 + cos(radians(place.latitude)) * cos(radians(latitude)) * sin(east) ** 2
    return 2 * EARTH_KM * asin(sqrt(min(1.0, part)))


def refuse_far(service: str, place: Spot, latitude: float | None, longitude: float | None) -> None:
    """Raise BadResponse if an answer is for a place too far away."""
    if latitude is None or longitude is None:
        return
    if (km := km_between(place, latitude, longitude)) > FARTHEST_KM:
        raise BadResponse(service, "far away", f"it is for a place {km:.0f} km off")


def finite(values: Sequence[float | None]) -> list[float]:
    """Return the values that are not None."""
    return [value for value in values if value is not None]
