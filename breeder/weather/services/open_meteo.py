"""Open-Meteo: used only with the keeper's own key or server, since its free use is noncommercial.

Source: the service's description of its interface and terms. Data CC BY 4.0, credit "Weather data by Open-Meteo.com".
Times are requested in GMT: its local times keep one offset across a clock change. It never says when a forecast was
issued, so twelve hours ago is assumed.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from statistics import stdev
from typing import Any

from breeder.weather.services import strict_json
from breeder.weather.services.errors import BadResponse, NeedsKey, NotCovered, RateLimited, Unavailable
from breeder.weather.services.request_parts import PROGRAM, plain_degrees
from breeder.weather.services.types import FetchedForecast, ServiceAnswer, ServiceRequest, Spot, SpotHours

NAME = "Open-Meteo"
KEYED_HOME = "https://customer-api.open-meteo.com"
PATH = "/v1/forecast"

KEPT_FOR = timedelta(hours=1)
MOST_DAYS = 16
LEAST_MEMBERS = 10  # fewer say nothing about the spread

AIR = "temperature_2m"
MEMBER = re.compile(rf"{AIR}_member\d{{2,}}")
SPREAD = f"{AIR}_spread"
SPREAD_UNITS = {"K", "°C", "degC"}


@dataclass(frozen=True)
class OpenMeteoService:
    """Asks with the keeper's key or at the keeper's own server; without either it asks nothing."""

    secret_key: str = field(default="", repr=False)
    home: str = ""

    key = "open-meteo"
    name = NAME
    domain = "open-meteo.com"
    credit = "Weather data by Open-Meteo.com, https://open-meteo.com, CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/)"
    retry_when_limited_s: float | None = None

    def build_requests(
        self, place: Spot, start: datetime, end: datetime, earlier_responses: Sequence[ServiceAnswer] = ()
    ) -> tuple[ServiceRequest, ...]:
        """Return the only request. Raises NeedsKey without a key or an own server."""
        if earlier_responses:
            return ()
        if not self.secret_key and not self.home:
            raise NeedsKey(
                NAME,
                f"{NAME} may be asked free of charge only by those who sell nothing. Give your own key, or the address "
                "of your own server, in the settings.",
            )
        days = min(MOST_DAYS, max(1, -((start - end) // timedelta(days=1)) + 1))
        where = f"latitude={plain_degrees(place.latitude)}&longitude={plain_degrees(place.longitude)}"
        if place.altitude_m is not None:
            where += f"&elevation={place.altitude_m}"
        url = f"{self.home or KEYED_HOME}{PATH}?{where}&hourly={AIR}&timezone=GMT&forecast_days={days}"
        headers = {"Accept": "application/json", "User-Agent": PROGRAM}
        # In a header, never in the URL: URLs end up in logs.
        secret = {"X-Api-Key": self.secret_key} if self.secret_key else {}
        return (ServiceRequest("forecast", url, headers, KEPT_FOR, secret=secret),)

    def parse(self, responses: Sequence[ServiceAnswer], place: Spot, now: datetime) -> FetchedForecast:
        """Return the hours of the answer. Raises a Trouble."""
        if not responses:
            raise BadResponse(NAME, "missing part", "the forecast was never asked")
        answer = responses[-1]
        document = _checked(answer, self.secret_key)
        latitude, longitude = (strict_json.number(document.get(name)) for name in ("latitude", "longitude"))
        if latitude is None or longitude is None:
            raise BadResponse(NAME, "missing part", "it does not say for which place it is")
        strict_json.refuse_far(NAME, place, latitude, longitude)
        if strict_json.number(document.get("utc_offset_seconds")) != 0.0:
            raise BadResponse(NAME, "clock", "its times are not in GMT, which was asked")
        issued_at, _ = strict_json.issue_time(NAME, None, answer.fetched_at, now)
        return FetchedForecast(
            service=self.key,
            hours=_hours(document),
            issued_at=issued_at,
            issued_is_estimate=True,
            fetched_at=answer.fetched_at,
            credit=self.credit,
            grid_latitude=latitude,
            grid_longitude=longitude,
            grid_elevation_m=strict_json.number(document.get("elevation")),
            digest=answer.digest,
            remarks=("the service never says when it was issued; twelve hours before it was fetched are assumed",),
        )


def _checked(answer: ServiceAnswer, secret: str = "") -> dict[str, Any]:
    """Return the document of an answer without error; the service can report an error under status 200."""
    try:
        document = strict_json.document(NAME, answer)
    except BadResponse:
        if answer.status == 200:
            raise
        document = {}
    reason = str(document.get("reason", ""))
    reason = reason.replace(secret, "…") if secret else reason  # some answers repeat the key
    if answer.status == 200 and document.get("error") is not True:
        return document
    if answer.status == 429 or "limit exceeded" in reason or "concurrent" in reason:
        raise RateLimited(NAME, _free_again(reason, answer.fetched_at), status=answer.status)
    if answer.status in (401, 403) or "api key" in reason.lower():
        raise NeedsKey(
            NAME, f"{NAME} did not accept the key, or its plan is too small. Check it in the settings.",
            status=answer.status,
        )  # fmt: skip
    if "No data is available" in reason:
        raise NotCovered(NAME, f"{NAME} has no forecast here. Check the place.", status=answer.status)
    if answer.status >= 500:
        raise Unavailable(NAME, f"{NAME} cannot answer just now. It is asked again.", status=answer.status)
    raise BadResponse(NAME, f"status {answer.status}", _without_addresses(reason) or "nothing said")


def _without_addresses(reason: str) -> str:
    """Return a reason without anything that could be an address or a key."""
    return re.sub(r"\S*(?:://|=|[A-Za-z0-9_-]{24,})\S*", "…", reason)[:100]


def _free_again(reason: str, at: datetime) -> datetime:
    """Return when the exceeded limit resets: on the minute, the hour or the UTC day."""
    minute = at.astimezone(UTC).replace(second=0, microsecond=0)
    if "Daily" in reason or "Monthly" in reason:
        return minute.replace(hour=0, minute=0) + timedelta(days=1)
    if "Hourly" in reason:
        return minute.replace(minute=0) + timedelta(hours=1)
    return minute + timedelta(minutes=1)


def _hours(document: Mapping[str, Any]) -> SpotHours:
    hourly = strict_json.required_part(NAME, document, "hourly", dict)
    units = strict_json.required_part(NAME, document, "hourly_units", dict)
    times = strict_json.required_part(NAME, hourly, "time", list)
    name = _series_named(hourly)
    strict_json.require_celsius(NAME, units.get(name))
    rows = _column(hourly, name, len(times))
    spread = _spread(hourly, units, len(times))
    values: dict[datetime, float | None] = {}
    spreads: dict[datetime, float | None] = {}
    for index, text in enumerate(times):
        at = _moment(text)
        if at in values:
            raise BadResponse(NAME, "times", "an hour comes twice")
        values[at], spreads[at] = strict_json.read_air_c(rows[index]), spread[index]
    return strict_json.spot_hours(NAME, values, {}, spreads)


def _series_named(hourly: Mapping[str, Any]) -> str:
    """Return the name of the series: the plain one, or the only one with a model's name appended."""
    if AIR in hourly:
        return AIR
    others = [name for name in hourly if name.startswith(f"{AIR}_") and name != SPREAD and not MEMBER.match(name)]
    if len(others) != 1:
        raise BadResponse(NAME, "missing part", f"'{AIR}' is missing")
    return others[0]


def _column(hourly: Mapping[str, Any], name: str, length: int) -> list[Any]:
    rows = strict_json.required_part(NAME, hourly, name, list)
    if len(rows) != length:
        raise BadResponse(NAME, "shape", f"{length} times for {len(rows)} values")
    return rows


def _spread(hourly: Mapping[str, Any], units: Mapping[str, Any], length: int) -> list[float | None]:
    """Return the spread by hour, °C: as given, or over the members if there are at least ten."""
    if SPREAD in hourly and units.get(SPREAD) in SPREAD_UNITS:
        deviations = [strict_json.number(value) for value in _column(hourly, SPREAD, length)]
        return [value if value is not None and value >= 0 else None for value in deviations]
    names = [name for name in hourly if MEMBER.fullmatch(name)]
    names += [AIR] if names and AIR in hourly else []
    columns = [_column(hourly, name, length) for name in names]
    spread: list[float | None] = []
    for index in range(length):
        members = strict_json.finite([strict_json.read_air_c(column[index]) for column in columns])
        spread.append(stdev(members) if len(members) >= LEAST_MEMBERS else None)
    return spread


def _moment(text: Any) -> datetime:
    """Return a time of the series, which has no offset since GMT was requested."""
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        raise BadResponse(NAME, "times", "an hour cannot be read") from None
    if moment.tzinfo is not None or not strict_json.is_whole_hour(moment.replace(tzinfo=UTC)):
        raise BadResponse(NAME, "times", "its hours are not whole hours of GMT")
    return moment.replace(tzinfo=UTC)
