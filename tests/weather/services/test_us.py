"""The US service: intervals are spread over their hours, and a doubtful hour is missing rather than mild."""

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as some

from breeder.weather import hour_grid
from breeder.weather.services.errors import (  # fmt: skip
    BadResponse,
    NeedsKey,
    NotCovered,
    RateLimited,
    ServiceTrouble,
    StaleUpstream,
    Unavailable,
)
from breeder.weather.services.intervals import duration, hours_within, interval
from breeder.weather.services.nws import NwsService
from breeder.weather.services.types import FetchedForecast, Spot
from tests.weather.services import shapes
from tests.weather.services.shapes import END, HERE, NOW, answer

SERVICE = NwsService("keeper@example.org")
ZONES = ("America/New_York", "America/Phoenix", "America/Adak", "Europe/London", "Asia/Kolkata", "Australia/Lord_Howe")


def read(document: Any, **more: Any) -> FetchedForecast:
    return SERVICE.parse((answer(shapes.point(), "point"), answer(document, "grid", **more)), HERE, NOW)


def test_the_point_is_asked_first_then_the_grid_that_it_names_even_in_column_0() -> None:
    (first,) = SERVICE.build_requests(Spot(35.1, -90.0), NOW, END)
    assert first.url == "https://api.weather.gov/points/35.1,-90"
    assert first.headers["Accept"] == "application/geo+json"
    assert first.headers["User-Agent"].endswith("(keeper@example.org)")
    earlier = (answer(shapes.point(), "point"),)
    (second,) = SERVICE.build_requests(HERE, NOW, END, earlier)
    assert second.url == "https://api.weather.gov/gridpoints/MEG/0,31"
    assert SERVICE.build_requests(HERE, NOW, END, (*earlier, answer(shapes.grid(), "grid"))) == ()


def test_a_relay_of_the_keepers_own_stands_in_for_the_addresses_that_the_service_names() -> None:
    relayed = NwsService("keeper@example.org", "http://192.168.1.20:8080/nws")
    (ask,) = relayed.build_requests(HERE, NOW, END, (answer(shapes.point(), "point"),))
    assert ask.url == "http://192.168.1.20:8080/nws/gridpoints/MEG/0,31"


def test_nothing_is_asked_without_a_contact() -> None:
    for contact in ("", "no", "a b@example.org", "x@example.org\r\nX: 1", "ü@example.org"):
        with pytest.raises(NeedsKey):
            NwsService(contact).build_requests(HERE, NOW, END)


def test_equal_hours_that_were_merged_are_spread_again() -> None:
    forecast = read(shapes.grid())
    assert forecast.hours.starts_at == datetime(2026, 3, 7, 3, tzinfo=UTC)
    assert forecast.hours.c == (11.1,) * 3 + (10.0,) + (9.4,) * 30
    assert forecast.hours.quality == "1" * 34
    assert forecast.issued_at == datetime(2026, 3, 7, 9, 12, tzinfo=UTC)
    assert (forecast.issued_is_estimate, forecast.grid_elevation_m, forecast.model) == (False, 87.2, "grid MEG 0 31")


def row(at: str, value: Any) -> dict[str, Any]:
    return {"validTime": at, "value": value}


def test_gaps_nulls_garbage_and_contradictions_are_missing_hours() -> None:
    rows = [
        row("2026-03-07T12:00:00+00:00/PT1H", 3.0), row("2026-03-07T03:00:00+00:00/PT2H", 1.0),
        row("2026-03-07T05:00:00+00:00/PT1H", None), row("2026-03-07T06:00:00+00:00/PT1H", 9999),
        row("2026-03-07T07:00:00+00:00/PT2H", 5.0), row("2026-03-07T08:00:00+00:00/PT2H", 6.0),
        row("2026-03-07T09:00:00+00:00/PT1H", 6.0),
    ]  # fmt: skip
    forecast = read(shapes.grid(rows))
    assert forecast.hours.c == (1.0, 1.0, None, None, 5.0, None, 6.0, None, None, 3.0)
    assert forecast.hours.quality == "11--1-1--1"
    assert len(forecast.remarks) == 2


@pytest.mark.parametrize("unit", ["wmoUnit:degC", "unit:degC", "Cel", "http://codes.wmo.int/common/unit/degC"])
def test_the_unit_is_known_by_its_last_word(unit: str) -> None:
    layer = shapes.grid()["properties"]["temperature"] | {"uom": unit}
    assert read(shapes.grid(temperature=layer)).hours.c[0] == 11.1


@pytest.mark.parametrize(
    ("document", "kind"),
    [
        (shapes.grid([]), "empty"),
        (shapes.grid(temperature={"values": []}), "empty"),
        (shapes.grid([row("2026-03-07T03:00:00+00:00/PT3H", None)]), "empty"),
        (shapes.grid(temperature={"uom": "wmoUnit:degF", "values": [row("2026-03-07T03:00Z/PT3H", 50)]}), "unit"),
        (shapes.grid(temperature={"uom": "wmoUnit:K", "values": [row("2026-03-07T03:00Z/PT3H", 280)]}), "unit"),
        (shapes.grid([row("NOW/PT3H", 1.0)]), "interval"),
        (shapes.grid([row("2026-03-07T03:00:00/PT3H", 1.0)]), "interval"),
        (shapes.grid([row("2026-03-07T03:00:00+00:00/P9999W", 1.0)]), "span"),
        (b"<html>maintenance</html>", "broken"),
        (b'{"properties": {"temperature": {"value": NaN}}}', "broken"),
        (b"[" * 100_000, "broken"),
        ([], "shape"),
        (5, "shape"),
    ],
)  # fmt: skip
def test_an_answer_that_cannot_be_relied_on_is_refused(document: Any, kind: str) -> None:
    with pytest.raises(BadResponse) as refused:
        read(document)
    assert refused.value.kind == kind


def test_html_with_a_good_status_is_refused_by_its_kind() -> None:
    with pytest.raises(BadResponse, match="no JSON"):
        read(b"{}", kind="text/html; charset=utf-8")


@pytest.mark.parametrize("path", shapes.part_paths(shapes.grid()), ids=str)
def test_with_any_part_missing_the_hours_are_right_or_refused(path: tuple[Any, ...]) -> None:
    whole = read(shapes.grid())
    try:
        forecast = read(shapes.without(shapes.grid(), path))
    except ServiceTrouble:
        return
    kept = {forecast.hours.starts_at + hour * hour_grid.HOUR: value for hour, value in enumerate(forecast.hours.c)}
    true = {whole.hours.starts_at + hour * hour_grid.HOUR: value for hour, value in enumerate(whole.hours.c)}
    assert all(value in (None, true[at]) for at, value in kept.items())
    assert forecast.issued_at <= whole.issued_at


@pytest.mark.parametrize("path", shapes.part_paths(shapes.point()), ids=str)
def test_with_any_part_of_the_point_missing_the_grid_is_asked_or_refused(path: tuple[Any, ...]) -> None:
    try:
        (ask,) = SERVICE.build_requests(HERE, NOW, END, (answer(shapes.without(shapes.point(), path), "point"),))
    except BadResponse:
        return
    assert ask.url == "https://api.weather.gov/gridpoints/MEG/0,31"


def test_a_frozen_grid_behind_fresh_headers_is_told_by_its_own_time() -> None:
    with pytest.raises(StaleUpstream) as stale:
        read(shapes.grid(updateTime="2026-03-02T09:12:00+00:00"), **{"last-modified": "Sat, 07 Mar 2026 10:00:00 GMT"})
    assert stale.value.issued_at == datetime(2026, 3, 2, 9, 12, tzinfo=UTC)
    old = read(shapes.grid(updateTime="2026-03-06T09:12:00+00:00"))
    assert old.issued_at == datetime(2026, 3, 6, 9, 12, tzinfo=UTC)
    assert "not renewed it for 25 hours" in old.remarks[0]


@pytest.mark.parametrize("update_time", [None, "soon", "2026-03-07T09:12:00", "2026-09-28T00:00:00+00:00"])
def test_an_unknown_or_future_time_of_issue_is_taken_to_be_twelve_hours_back(update_time: Any) -> None:
    forecast = read(shapes.grid(updateTime=update_time))
    assert (forecast.issued_at, forecast.issued_is_estimate) == (NOW - timedelta(hours=12), True)


PROBLEM = {"type": "urn:noaa:nws:api:ForecastGridExpired", "title": "Forecast Grid Expired", "correlationId": "1a2b"}


@pytest.mark.parametrize(
    ("status", "document", "expected"),
    [
        (404, {"type": "https://api.weather.gov/problems/InvalidPoint", "title": "Data Unavailable"}, NotCovered),
        (403, b"<html>no agent</html>", NeedsKey),
        (429, PROBLEM, RateLimited),
        (500, {"type": "https://api.weather.gov/problems/UnexpectedProblem"}, Unavailable),
        (503, PROBLEM, Unavailable),
        (503, PROBLEM | {"type": "https://api.weather.gov/problems/ForecastMissingData"}, Unavailable),
        (400, PROBLEM, BadResponse),
    ],
)
def test_errors_are_told_apart(status: int, document: Any, expected: type[ServiceTrouble]) -> None:
    with pytest.raises(expected) as trouble:
        read(document, status=status, kind="application/problem+json")
    assert trouble.value.status == status
    assert trouble.value.sentence.endswith(".")


def test_the_number_to_name_in_a_complaint_is_kept_and_a_lapsed_grid_is_named() -> None:
    with pytest.raises(Unavailable, match="let its forecast for this place lapse") as trouble:
        read(PROBLEM, status=503, kind="application/problem+json")
    assert "1a2b" in trouble.value.detail


def test_the_sea_has_no_forecast() -> None:
    with pytest.raises(NotCovered):
        SERVICE.build_requests(HERE, NOW, END, (answer(shapes.point(type="marine"), "point"),))


@pytest.mark.parametrize(
    ("text", "hours"),
    [("PT1H", 1), ("PT17H", 17), ("P1DT6H", 30), ("P6DT15H", 159), ("P1W", 168), ("P7DT22H", 190), ("PT90M", 1.5)],
)
def test_durations(text: str, hours: float) -> None:
    assert duration(text) == timedelta(hours=hours)


@pytest.mark.parametrize("text", ["", "P", "PT", "P1M", "P1Y", "1H", "PT-1H", "PT1H2", "P1DT"])
def test_what_is_no_duration(text: str) -> None:
    assert duration(text) is None


def test_an_interval_may_be_written_with_both_ends_or_from_its_end() -> None:
    start, end = datetime(2026, 3, 7, 3, tzinfo=UTC), datetime(2026, 3, 7, 6, tzinfo=UTC)
    for text in ("2026-03-07T03:00:00Z/2026-03-07T06:00:00Z", "PT3H/2026-03-07T06:00:00Z", "2026-03-07T03:00:00Z/PT3H"):
        assert interval(text) == (start, end)


@given(some.lists(some.tuples(some.integers(1, 60), some.floats(-40, 45)), min_size=1, max_size=40))
def test_spreading_intervals_neither_loses_nor_makes_an_hour(runs: list[tuple[int, float]]) -> None:
    at, rows = datetime(2026, 3, 7, 3, tzinfo=UTC), []
    for length, value in runs:
        rows.append(row(f"{at.isoformat()}/P{length // 24}DT{length % 24}H" if length % 24 else
                        f"{at.isoformat()}/P{length // 24}D", value))  # fmt: skip
        at += timedelta(hours=length)
    if sum(length for length, _ in runs) > 900:
        return
    hours = read(shapes.grid(rows)).hours
    assert hours.c == tuple(value for length, value in runs for _ in range(length))


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize(
    "day", [(2026, 3, 8), (2026, 11, 1), (2026, 3, 29), (2026, 10, 25), (2026, 4, 5), (2026, 10, 4)]
)
def test_days_on_which_clocks_change_keep_all_their_hours(zone: str, day: tuple[int, int, int]) -> None:
    """Written with the zone's offset, as the service may: a local day of 23, 24, 24.5 or 25 hours is complete."""
    midnight = datetime(*day, tzinfo=ZoneInfo(zone))
    after = (midnight + timedelta(days=1)).replace(hour=0)
    span = interval(f"{midnight.isoformat()}/{after.isoformat()}")
    assert span is not None
    hours = hours_within(*span)
    assert all(later - before == hour_grid.HOUR for before, later in zip(hours, hours[1:], strict=False))
    length_h = (after.astimezone(UTC) - midnight.astimezone(UTC)) / hour_grid.HOUR
    assert abs(len(hours) - length_h) < 1
    if length_h == int(length_h) and hour_grid.floor_hour(span[0]) == span[0]:
        assert len(hours) == length_h
