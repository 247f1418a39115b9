"""Answers of the services in the right shape, written by hand for these tests."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

from breeder.weather.services.types import ServiceAnswer, Spot

NOW = datetime(2026, 3, 7, 10, 20, tzinfo=UTC)
HERE = Spot(35.15, -90.05)
END = NOW + timedelta(days=10)


def answer(
    document: Any, endpoint: str = "forecast", *, status: int = 200, kind: str = "application/json", **headers: str
) -> ServiceAnswer:
    """Return an answer with a document, or with raw bytes."""
    body = document if isinstance(document, bytes) else json.dumps(document).encode()
    return ServiceAnswer(endpoint, "https://example.invalid/x", status, {"content-type": kind} | headers, body, NOW)


def point(**changed: Any) -> dict[str, Any]:
    """Return a point of the US service; its cell is in column 0."""
    properties = {
        "gridId": "MEG",
        "gridX": 0,
        "gridY": 31,
        "cwa": "MEG",
        "type": "land",
        "forecastGridData": "https://api.weather.gov/gridpoints/MEG/0,31",
        "observationStations": "https://api.weather.gov/gridpoints/MEG/0,31/stations",
        "timeZone": "America/Chicago",
    }
    return {"properties": properties | changed}


def grid(values: Any = None, **changed: Any) -> dict[str, Any]:
    """Return a grid of the US service."""
    given = [
        {"validTime": "2026-03-07T03:00:00+00:00/PT3H", "value": 11.1},
        {"validTime": "2026-03-07T06:00:00+00:00/PT1H", "value": 10.0},
        {"validTime": "2026-03-07T07:00:00+00:00/P1DT6H", "value": 9.4},
    ]
    properties = {
        "updateTime": "2026-03-07T09:12:00+00:00",
        "gridId": "MEG",
        "gridX": "0",
        "gridY": "31",
        "elevation": {"unitCode": "wmoUnit:m", "value": 87.2},
        "temperature": {"uom": "wmoUnit:degC", "values": given if values is None else values},
    }
    return {"properties": properties | changed}


def step(at: str, celsius: Any, high: Any = None, low: Any = None, **more: Any) -> dict[str, Any]:
    """Return a step of the Norwegian service."""
    entry: dict[str, Any] = {"time": at, "data": {"instant": {"details": {"air_temperature": celsius} | more}}}
    if high is not None or low is not None:
        entry["data"]["next_6_hours"] = {
            "summary": {"symbol_code": "fair_day"},
            "details": {"air_temperature_max": high, "air_temperature_min": low},
        }
    return entry


def series(steps: list[dict[str, Any]] | None = None, **meta: Any) -> dict[str, Any]:
    """Return an answer of the Norwegian service: three hours, then six-hourly, the last without extremes."""
    given = steps if steps is not None else [
        step("2026-03-07T10:00:00Z", 8.0), step("2026-03-07T11:00:00Z", 9.0),
        step("2026-03-07T12:00:00Z", 10.0, 17.0, 9.5), step("2026-03-07T18:00:00Z", 14.0, 14.2, 3.0),
        step("2026-03-08T00:00:00Z", 5.0),
    ]  # fmt: skip
    about = {"updated_at": "2026-03-07T05:37:54Z", "units": {"air_temperature": "celsius"}} | meta
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-90.05, 35.15, 87]},
        "properties": {"meta": about, "timeseries": given},
    }


def hourly(values: list[Any] | None = None, *, start: datetime = NOW, **more: Any) -> dict[str, Any]:
    """Return an answer of Open-Meteo."""
    given = [11.4, 10.9, None, 8, -0] if values is None else values
    first = start.replace(hour=0, minute=0)
    times = [f"{first + timedelta(hours=hour):%Y-%m-%dT%H:%M}" for hour in range(len(given))]
    document = {
        "latitude": 35.149998,
        "longitude": -90.0,
        "generationtime_ms": 0.8,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "elevation": 87.0,
        "hourly_units": {"time": "iso8601", "temperature_2m": "°C"},
        "hourly": {"time": times, "temperature_2m": given},
    }
    return document | more


def part_paths(document: Any, before: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path to every part of a document, so that each can be left out in turn."""
    items = (
        document.items() if isinstance(document, dict) else enumerate(document) if isinstance(document, list) else ()
    )
    paths = []
    for name, value in items:
        paths += [(*before, name), *part_paths(value, (*before, name))]
    return paths


def without(document: Any, path: tuple[Any, ...]) -> Any:
    """Return a copy of a document without the part at a path; the whole document for no path."""
    copy = json.loads(json.dumps(document))
    if not path:
        return copy
    inside = copy
    for name in path[:-1]:
        inside = inside[name]
    del inside[path[-1]]
    return copy
