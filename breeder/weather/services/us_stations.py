"""Measured hours from the US service: the point names its stations, and the nearest one reports."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from breeder.weather.services import strict_json
from breeder.weather.services.errors import BadResponse, NotCovered
from breeder.weather.services.nws import ACCEPT, HOME, NAME, NwsService
from breeder.weather.services.request_parts import identification, rebased
from breeder.weather.services.strict_json import km_between
from breeder.weather.services.types import ServiceAnswer, ServiceRequest, Spot

# A station farther away measures different air (judgment).
FARTHEST_KM = 40.0
STATIONS_KEPT_FOR = timedelta(days=30)
OBSERVED_KEPT_FOR = timedelta(hours=12)
MOST_REPORTS = 500
OLDEST_REPORT = timedelta(days=8)  # three days are asked for, and a week is the most that the service keeps

# The service's quality marks: V, C checked; S passed the first checks; Z not checked yet; X and Q rejected.
TRUSTED = {"V", "C", "S", "Z"}


@dataclass(frozen=True)
class StationReports:
    """Reports of a station in order of time, °C; None without a trusted report."""

    station: str
    km: float
    readings: tuple[tuple[datetime, float | None], ...]

    @property
    def credit(self) -> str:
        return f"Station {self.station}, {self.km:.0f} km off, US National Weather Service (public domain)"


@dataclass(frozen=True)
class UsStations:
    """Asks for the point, its stations, and the reports of the nearest one."""

    service: NwsService

    def build_requests(
        self, place: Spot, start: datetime, end: datetime, earlier_responses: Sequence[ServiceAnswer] = ()
    ) -> tuple[ServiceRequest, ...]:
        """Return the next requests, none once the reports are there. Raises a Trouble."""
        answers = {answer.endpoint: answer for answer in earlier_responses}
        if "observations" in answers:
            return ()
        if "point" not in answers:
            return self.service.build_requests(place, start, end)
        headers = {"Accept": ACCEPT, "User-Agent": identification(NAME, self.service.contact)}
        if "stations" not in answers:
            properties = strict_json.required_part(NAME, self.service.checked(answers["point"]), "properties", dict)
            url = strict_json.required_part(NAME, properties, "observationStations", str)
            if not urlsplit(url).path.endswith("/stations"):
                raise BadResponse(NAME, "address", "the point names no stations")
            stations_url = rebased(url, self.service.home, HOME)
            return (ServiceRequest("stations", stations_url, headers, STATIONS_KEPT_FOR, is_lasting=True),)
        station, _ = self._nearest(answers["stations"], place)
        span = f"start={_stamp(start)}&end={_stamp(end)}&limit={MOST_REPORTS}"
        url = f"{self.service.home}/stations/{station}/observations?{span}"
        return (ServiceRequest("observations", url, headers, OBSERVED_KEPT_FOR),)

    def parse(self, responses: Sequence[ServiceAnswer], place: Spot, now: datetime) -> StationReports:
        """Return the reports. Raises a Trouble."""
        answers = {answer.endpoint: answer for answer in responses}
        station, km = self._nearest(answers["stations"], place)
        document = self.service.checked(answers["observations"])
        readings: dict[datetime, float | None] = {}
        for feature in strict_json.required_part(NAME, document, "features", list):
            properties = feature.get("properties") if isinstance(feature, dict) else None
            at = strict_json.utc(properties.get("timestamp")) if isinstance(properties, dict) else None
            if at is not None and now - OLDEST_REPORT <= at <= now:
                readings[at] = _air(properties.get("temperature"))
        if all(value is None for value in readings.values()):
            raise BadResponse(NAME, "empty", f"station {station} reported no temperature")
        return StationReports(station, km, tuple(sorted(readings.items())))

    def _nearest(self, answer: ServiceAnswer, place: Spot) -> tuple[str, float]:
        best: tuple[float, str] | None = None
        for feature in strict_json.required_part(NAME, self.service.checked(answer), "features", list):
            named = _station(feature)
            if named is not None:
                name, longitude, latitude = named
                km = km_between(place, latitude, longitude)
                best = min(best, (km, name)) if best else (km, name)
        if best is None or best[0] > FARTHEST_KM:
            raise NotCovered(NAME, f"{NAME} has no station within {FARTHEST_KM:.0f} km, so nothing is learnt here.")
        return best[1], best[0]


def _station(feature: Any) -> tuple[str, float, float] | None:
    """Return name, longitude and latitude of a station; None for anything else."""
    if not isinstance(feature, dict):
        return None
    properties, geometry = feature.get("properties"), feature.get("geometry")
    if not isinstance(properties, dict) or not isinstance(geometry, dict):
        return None
    name, position = properties.get("stationIdentifier"), geometry.get("coordinates")
    if not isinstance(name, str) or not (name.isascii() and name.isalnum()):
        return None
    if not isinstance(position, list) or len(position) < 2:
        return None
    longitude, latitude = (strict_json.number(coordinate) for coordinate in position[:2])
    return None if longitude is None or latitude is None else (name, longitude, latitude)


def _air(value: Any) -> float | None:
    if not isinstance(value, dict) or str(value.get("qualityControl")) not in TRUSTED:
        return None
    strict_json.require_celsius(NAME, value.get("unitCode"))
    return strict_json.read_air_c(value.get("value"))


def _stamp(at: datetime) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"
