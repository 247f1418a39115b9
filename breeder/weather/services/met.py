"""MET Norway: one request anywhere in the world, hourly for some 60 hours and every six hours after that.

Source: the institute's description of its Locationforecast 2.0 and its terms: every caller names itself, asks again
only after `Expires`, then with `If-Modified-Since`, and sends at most four decimals. CC BY 4.0 and NLOD 2.0.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from breeder.weather import hour_grid
from breeder.weather.services import interpolation, strict_json
from breeder.weather.services.errors import BadResponse, NeedsKey, NotCovered, RateLimited, Unavailable
from breeder.weather.services.request_parts import identification, plain_degrees
from breeder.weather.services.types import FetchedForecast, ServiceAnswer, ServiceRequest, Spot

NAME = "MET Norway"
HOME = "https://api.met.no"
PATH = "/weatherapi/locationforecast/2.0/complete"

KEPT_FOR = timedelta(minutes=30)  # only if the service does not say how long its answer is good
LEAVE_ALONE = timedelta(minutes=10)
ALTITUDE_STEP_M = 50  # finer could identify the house, and changes the temperature by less than 0.4 °C

# The 10th and 90th percentiles of a normal distribution are 2.563 standard deviations apart.
SD_BETWEEN_TENTHS = 2.563

AIR = "air_temperature"
GOOD, DEPRECATED = 200, 203


@dataclass(frozen=True)
class MetService:
    """Asks for the complete form, the only one with percentiles and extremes between steps."""

    contact: str
    home: str = HOME

    key = "met"
    name = NAME
    domain = "met.no"
    credit = (
        "Data from MET Norway, https://api.met.no, CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/). "
        "Changed: hours between its later steps are drawn here"
    )
    retry_when_limited_s: float | None = None

    def build_requests(
        self, place: Spot, start: datetime, end: datetime, earlier_responses: Sequence[ServiceAnswer] = ()
    ) -> tuple[ServiceRequest, ...]:
        """Return the only request. Raises NeedsKey without a contact."""
        if earlier_responses:
            return ()
        where = f"?lat={plain_degrees(place.latitude)}&lon={plain_degrees(place.longitude)}"
        if place.altitude_m is not None:
            where += f"&altitude={round(place.altitude_m / ALTITUDE_STEP_M) * ALTITUDE_STEP_M}"
        headers = {"Accept": "application/json", "User-Agent": identification(NAME, self.contact)}
        return (ServiceRequest("forecast", f"{self.home}{PATH}{where}", headers, KEPT_FOR),)

    def parse(self, responses: Sequence[ServiceAnswer], place: Spot, now: datetime) -> FetchedForecast:
        """Return the hours of the answer. Raises a Trouble."""
        if not responses:
            raise BadResponse(NAME, "missing part", "the forecast was never asked")
        answer = responses[-1]
        document = _checked(answer)
        properties = strict_json.required_part(NAME, document, "properties", dict)
        meta = strict_json.required_part(NAME, properties, "meta", dict)
        strict_json.require_celsius(NAME, strict_json.required_part(NAME, meta, "units", dict).get(AIR))
        issued_at, guessed = strict_json.issue_time(
            NAME, strict_json.utc(meta.get("updated_at")), answer.fetched_at, now
        )
        series = _Series()
        for entry in strict_json.required_part(NAME, properties, "timeseries", list):
            series.take(entry)
        longitude, latitude, elevation = _position(document)
        strict_json.refuse_far(NAME, place, latitude, longitude)
        remarks = list(series.remarks)
        if guessed:
            remarks.append("the service did not say when it was issued")
        if answer.status == DEPRECATED:
            remarks.append("the service says that this form of its forecast will be replaced")
        return FetchedForecast(
            service=self.key,
            hours=series.hours(),
            issued_at=issued_at,
            issued_is_estimate=guessed,
            fetched_at=answer.fetched_at,
            credit=self.credit,
            grid_latitude=latitude,
            grid_longitude=longitude,
            grid_elevation_m=elevation,
            digest=answer.digest,
            remarks=tuple(dict.fromkeys(remarks)),
        )


def _checked(answer: ServiceAnswer) -> dict[str, Any]:
    if answer.status in (GOOD, DEPRECATED):
        return strict_json.document(NAME, answer)
    if answer.status in (404, 422):
        raise NotCovered(NAME, f"{NAME} has no forecast here. Check the place's latitude and longitude.", status=422)
    if answer.status == 429:
        raise RateLimited(NAME, answer.left_alone_until(LEAVE_ALONE), status=429)
    if answer.status in (401, 403):
        sentence = f"{NAME} did not accept the contact given in the settings. Write a mail or web address of your own."
        raise NeedsKey(NAME, sentence, status=answer.status)
    if answer.status >= 499:
        raise Unavailable(NAME, f"{NAME} cannot answer just now. It is asked again.", status=answer.status)
    raise BadResponse(NAME, f"status {answer.status}", "the question was not accepted", status=answer.status)


def _position(document: Mapping[str, Any]) -> tuple[float | None, float | None, float | None]:
    """Return longitude, latitude and altitude of the answer, in GeoJSON order."""
    geometry = document.get("geometry")
    position = geometry.get("coordinates") if isinstance(geometry, dict) else None
    numbers = [strict_json.number(coordinate) for coordinate in position[:3]] if isinstance(position, list) else []
    longitude, latitude, elevation = [*numbers, None, None, None][:3]
    return longitude, latitude, elevation


def _inside(entry: Mapping[str, Any], *names: str) -> Mapping[str, Any]:
    """Return a nested part of an entry; empty if any level is missing."""
    part: Any = entry
    for name in names:
        part = part.get(name) if isinstance(part, dict) else None
    return part if isinstance(part, dict) else {}


class _Series:
    """The entries of the answer, by time."""

    def __init__(self) -> None:
        self.at: list[datetime] = []
        self.c: dict[datetime, float | None] = {}
        self.spread: dict[datetime, float | None] = {}
        self.extremes: dict[datetime, tuple[float | None, float | None]] = {}
        self.remarks: list[str] = []

    def take(self, entry: Any) -> None:
        """Read one entry; leave it out with a remark if its time cannot be read."""
        moment = strict_json.utc(entry.get("time")) if isinstance(entry, dict) else None
        if moment is None or not strict_json.is_whole_hour(moment):
            self.remarks.append("a step off the whole hour was left out")
            return
        instant = _inside(entry, "data", "instant", "details")
        value = strict_json.read_air_c(instant.get(AIR))
        if value is None and instant.get(AIR) is not None:
            self.remarks.append("a value was none that air can have and left out")
        if moment in self.c and self.c[moment] != value:
            self.remarks.append("a step was given twice with two values and left out")
            value = None
        self.c[moment] = value
        self.spread[moment] = self._spread(instant)
        ahead = _inside(entry, "data", "next_6_hours", "details")
        self.extremes[moment] = (
            strict_json.read_air_c(ahead.get(f"{AIR}_max")),
            strict_json.read_air_c(ahead.get(f"{AIR}_min")),
        )

    def _spread(self, instant: Mapping[str, Any]) -> float | None:
        low, high = (strict_json.read_air_c(instant.get(f"{AIR}_percentile_{tenth}")) for tenth in (10, 90))
        if low is None or high is None:
            return None
        if low > high:
            self.remarks.append("percentiles in the wrong order were left out")
            return None
        return (high - low) / SD_BETWEEN_TENTHS

    def hours(self) -> Any:
        """Return all hours: the steps, and the hours interpolated between steps of up to six hours."""
        known = sorted(at for at, value in self.c.items() if value is not None)
        values: dict[datetime, float | None] = dict(self.c)
        steps, spreads = dict.fromkeys(known, 1), dict(self.spread)
        anchored = {at for at in known if None not in self.extremes[at]}
        for before, after in zip(known, known[1:], strict=False):
            step_h = round((after - before) / hour_grid.HOUR)
            # A step after a gap is no more certain than a later step.
            steps[after] = min(max(1, step_h), interpolation.LONGEST_STEP_H)
            if not 1 < step_h <= interpolation.LONGEST_STEP_H:
                continue
            hours = [before + number * hour_grid.HOUR for number in range(1, step_h)]
            # An hour that the service lists without a value is a gap, not part of a longer step.
            if any(at in self.c for at in hours):
                continue
            high, low = self.extremes[before]
            # The extremes are for six hours ahead; in a shorter step they may fall outside.
            if step_h < interpolation.LONGEST_STEP_H:
                high = low = None
            first, last = float(self.c[before] or 0.0), float(self.c[after] or 0.0)
            between = interpolation.interpolated_hours(interpolation.Segment(first, last, step_h, high, low))
            for at, value in zip(hours, between, strict=True):
                values[at], steps[at] = value, step_h
                spreads[at] = _wider(self.spread[before], self.spread[after])
            if high is not None and low is not None:
                anchored.update(hours)
        return strict_json.spot_hours(NAME, values, steps, spreads, anchored)


def _wider(before: float | None, after: float | None) -> float | None:
    return None if before is None or after is None else max(before, after)
