"""The US National Weather Service: a point leads to its forecast grid, whose temperatures come as runs of equal hours.

Source: the service's own description of its interface (gridpoints, general questions, version 1.9.0) and the faults
that its users reported. Free for any purpose without a key; every caller must name itself.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from breeder.weather import hour_grid
from breeder.weather.services import daily_extremes, strict_json
from breeder.weather.services.errors import BadResponse, NeedsKey, NotCovered, RateLimited, Unavailable
from breeder.weather.services.intervals import hours_within, interval
from breeder.weather.services.request_parts import identification, plain_degrees, rebased
from breeder.weather.services.types import FetchedForecast, ServiceAnswer, ServiceRequest, Spot, SpotHours

NAME = "US National Weather Service"
HOME = "https://api.weather.gov"

# Without it, the service's cache has returned grids up to five days old.
ACCEPT = "application/geo+json"

POINT_KEPT_FOR = timedelta(days=30)  # offices rarely get new grids
GRID_KEPT_FOR = timedelta(minutes=15)
LEAVE_ALONE = timedelta(minutes=1)
RETRY_WHEN_LIMITED_S = 5.0  # the service's own advice

OLD = timedelta(hours=12)  # grids are renewed several times a day; an older one deserves a remark


@dataclass(frozen=True)
class NwsService:
    """Asks for the point, then for the grid that it names."""

    contact: str
    home: str = HOME

    key = "nws"
    name = NAME
    domain = "weather.gov"
    credit = "Forecast by the US National Weather Service, https://www.weather.gov (public domain)"
    retry_when_limited_s: float | None = RETRY_WHEN_LIMITED_S

    def build_requests(
        self, place: Spot, start: datetime, end: datetime, earlier_responses: Sequence[ServiceAnswer] = ()
    ) -> tuple[ServiceRequest, ...]:
        """Return the request for the point, then for its grid. Raises a Trouble if the point has none."""
        answers = _by_endpoint(earlier_responses)
        if "grid" in answers:
            return ()
        if "point" not in answers:
            where = f"{plain_degrees(place.latitude)},{plain_degrees(place.longitude)}"
            return (self._ask("point", f"{self.home}/points/{where}", POINT_KEPT_FOR, is_lasting=True),)
        return (self._ask("grid", self._grid_url(answers["point"]), GRID_KEPT_FOR),)

    def parse(self, responses: Sequence[ServiceAnswer], place: Spot, now: datetime) -> FetchedForecast:
        """Return the hours of the grid. Raises a Trouble."""
        answer = _by_endpoint(responses).get("grid")
        if answer is None:
            raise BadResponse(NAME, "missing part", "the grid was never asked")
        document = self.checked(answer)
        properties = strict_json.required_part(NAME, document, "properties", dict)
        strict_json.refuse_far(NAME, place, *_middle(document))
        updated = strict_json.utc(properties.get("updateTime"))
        issued_at, guessed = strict_json.issue_time(NAME, updated, answer.fetched_at, now)
        hours, remarks = _hours(properties)
        if guessed:
            remarks.append("the service did not say when it was issued")
        elif now - issued_at > OLD:
            remarks.append(f"the service has not renewed it for {(now - issued_at) // hour_grid.HOUR} hours")
        elevation = properties.get("elevation")
        return FetchedForecast(
            service=self.key,
            hours=hours,
            issued_at=issued_at,
            issued_is_estimate=guessed,
            fetched_at=answer.fetched_at,
            credit=self.credit,
            model=_office(properties),
            grid_elevation_m=strict_json.number(elevation.get("value")) if isinstance(elevation, dict) else None,
            digest=answer.digest,
            remarks=tuple(remarks),
        )

    def _ask(self, endpoint: str, url: str, kept_for: timedelta, *, is_lasting: bool = False) -> ServiceRequest:
        headers = {"Accept": ACCEPT, "User-Agent": identification(NAME, self.contact)}
        return ServiceRequest(endpoint, url, headers, kept_for, is_lasting)

    def _grid_url(self, answer: ServiceAnswer) -> str:
        """Return the grid URL that the point names; never built here, since offices share grids."""
        properties = strict_json.required_part(NAME, self.checked(answer), "properties", dict)
        if properties.get("type") == "marine":
            raise NotCovered(NAME, f"{NAME} has no forecast over the sea. Check the place's latitude and longitude.")
        url = strict_json.required_part(NAME, properties, "forecastGridData", str)
        if not urlsplit(url).path.startswith("/gridpoints/"):
            raise BadResponse(NAME, "address", "the point names no grid")
        return rebased(url, self.home, HOME)

    def checked(self, answer: ServiceAnswer) -> dict[str, Any]:
        """Return the document of a good answer. Raises the matching Trouble for any other."""
        if answer.status == 200:
            return strict_json.document(NAME, answer)
        problem = _problem(answer)
        detail = f"{problem.get('title', '')} {problem.get('correlationId', '')}".strip()
        if answer.status == 404:
            sentence = f"{NAME} has no forecast here; it covers the United States. Choose another service for it."
            raise NotCovered(NAME, sentence, detail=detail, status=404)
        if answer.status == 429:
            raise RateLimited(NAME, answer.left_alone_until(LEAVE_ALONE), detail=detail, status=429)
        if answer.status in (401, 403):
            sentence = f"{NAME} did not accept the contact given in the settings. Write a mail or web address there."
            raise NeedsKey(NAME, sentence, detail=detail, status=answer.status)
        if answer.status >= 500:
            raise Unavailable(NAME, _lapsed(problem), detail=detail, status=answer.status)
        raise BadResponse(NAME, f"status {answer.status}", detail or "nothing said", status=answer.status)


def _by_endpoint(answers: Sequence[ServiceAnswer]) -> dict[str, ServiceAnswer]:
    return {answer.endpoint: answer for answer in answers}


def _problem(answer: ServiceAnswer) -> dict[str, Any]:
    try:
        return strict_json.document(NAME, answer)
    except BadResponse:
        return {}


def _lapsed(problem: Mapping[str, Any]) -> str:
    """Return a sentence for a failure; its kind is the last part of `type`, a URL or a URN."""
    kind = str(problem.get("type", "")).replace(":", "/").rpartition("/")[2]
    if kind == "ForecastGridExpired":
        return f"{NAME} let its forecast for this place lapse and has no newer one yet. It is asked again."
    if kind == "ForecastMissingData":
        return f"{NAME} lacks a part of its forecast for this place just now. It is asked again."
    return f"{NAME} cannot answer just now. It is asked again."


def _office(properties: Mapping[str, Any]) -> str:
    """Return the name of the grid cell; its numbers may be 0, so they are compared with None."""
    parts = [properties.get(name) for name in ("gridId", "gridX", "gridY")]
    return "grid " + " ".join(str(part) for part in parts) if all(part is not None for part in parts) else ""


def _middle(document: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Return latitude and longitude of the middle of the cell; None if its outline is missing or unreadable."""
    geometry = document.get("geometry")
    rings = geometry.get("coordinates") if isinstance(geometry, dict) else None
    ring = rings[0] if isinstance(rings, list) and rings and isinstance(rings[0], list) else []
    corners = [corner[:2] for corner in ring if isinstance(corner, list)]
    pairs = [(strict_json.number(pair[1]), strict_json.number(pair[0])) for pair in corners if len(pair) == 2]
    known = [(north, east) for north, east in pairs if north is not None and east is not None]
    if not known or len(known) < len(ring):
        return None, None
    return sum(north for north, _ in known) / len(known), sum(east for _, east in known) / len(known)


def _hours(properties: Mapping[str, Any]) -> tuple[SpotHours, list[str]]:
    layer = strict_json.required_part(NAME, properties, "temperature", dict)
    rows = strict_json.required_part(NAME, layer, "values", list)
    if not rows:
        raise BadResponse(NAME, "empty", "its layer of temperatures is empty")
    strict_json.require_celsius(NAME, layer.get("uom"))
    values: dict[datetime, float | None] = {}
    doubted: set[datetime] = set()
    left_out = 0
    for row in rows:
        span = interval(row.get("validTime")) if isinstance(row, dict) else None
        if span is None:
            raise BadResponse(NAME, "interval", "an hour cannot be placed in time")
        if (span[1] - span[0]) / hour_grid.HOUR > strict_json.LONGEST_FORECAST_H:
            raise BadResponse(NAME, "span", "an interval is longer than any forecast")
        value = strict_json.read_air_c(row.get("value"))
        left_out += value is None and row.get("value") is not None
        for at in hours_within(*span):
            if at in values and values[at] != value:
                doubted.add(at)
            values[at] = value
    # Two values for one hour: neither is believed, since the wrong one could be the mild one.
    values |= dict.fromkeys(doubted)
    remarks = [f"{len(doubted)} hours were given twice with two values and left out"] if doubted else []
    remarks += [f"{left_out} values were none that air can have and left out"] if left_out else []
    anchored, extreme_remarks = daily_extremes.bend_to_extremes(NAME, properties, values)
    return strict_json.spot_hours(NAME, values, {}, anchored=anchored), remarks + extreme_remarks
