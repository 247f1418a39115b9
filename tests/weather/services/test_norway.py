"""The Norwegian service: hours between six-hourly steps are interpolated, marked, and reach the given extremes."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from breeder.weather import hour_grid
from breeder.weather.services.errors import BadResponse, NeedsKey, NotCovered, RateLimited, ServiceTrouble, Unavailable
from breeder.weather.services.hour_flags import flag_step_h
from breeder.weather.services.interpolation import Segment, interpolated_hours
from breeder.weather.services.met import MetService
from breeder.weather.services.types import FetchedForecast, Spot
from tests.weather.services import shapes
from tests.weather.services.shapes import END, HERE, NOW, answer, step

SERVICE = MetService("https://example.org/keeper")


def read(document: Any, **more: Any) -> FetchedForecast:
    return SERVICE.parse((answer(document, **more),), HERE, NOW)


def test_few_digits_are_sent_and_the_height_only_roughly() -> None:
    (ask,) = SERVICE.build_requests(Spot(59.9, -10.0, 1213), NOW, END)
    assert ask.url == "https://api.met.no/weatherapi/locationforecast/2.0/complete?lat=59.9&lon=-10&altitude=1200"
    assert ask.headers["User-Agent"] == "Underbark/0.1 (https://example.org/keeper)"
    assert "altitude" not in SERVICE.build_requests(HERE, NOW, END)[0].url
    assert SERVICE.build_requests(HERE, NOW, END, (answer(shapes.series()),)) == ()


def test_later_steps_are_drawn_marked_and_bent_to_their_extremes() -> None:
    forecast = read(shapes.series())
    assert forecast.hours.starts_at == datetime(2026, 3, 7, 10, tzinfo=UTC)
    assert forecast.hours.quality == "11a" + "f" * 11 + "6"  # letters: extremes given around the hour
    day, night = forecast.hours.c[2:9], forecast.hours.c[8:15]
    assert max(value for value in day if value is not None) == pytest.approx(17.0)
    assert min(value for value in day if value is not None) == pytest.approx(9.5)
    assert min(value for value in night if value is not None) == pytest.approx(3.0)
    assert max(value for value in night if value is not None) == pytest.approx(14.2)
    assert (forecast.hours.c[2], forecast.hours.c[8], forecast.hours.c[14]) == (10.0, 14.0, 5.0)
    assert forecast.issued_at == datetime(2026, 3, 7, 5, 37, 54, tzinfo=UTC)
    assert (forecast.grid_longitude, forecast.grid_latitude, forecast.grid_elevation_m) == (-90.05, 35.15, 87)
    assert "CC BY 4.0" in forecast.credit


@pytest.mark.parametrize(
    ("segment", "hours"),
    [
        (Segment(10, 16, 6), [11, 12, 13, 14, 15]),
        (Segment(10, 16, 6, 16, 10), [11, 12, 13, 14, 15]),
        (Segment(10, 13, 3, 9, 14), [11, 12]),
        (Segment(4, 4, 2), [4]),
        (Segment(4, 4, 1), []),
    ],
)
def test_without_extremes_beyond_its_ends_a_segment_is_a_line(segment: Segment, hours: list[float]) -> None:
    assert interpolated_hours(segment) == pytest.approx(hours)


@pytest.mark.parametrize("last", [-5.0, 0.0, 2.0, 9.0])
@pytest.mark.parametrize(("high", "low"), [(12.0, None), (None, -9.0), (12.0, -9.0)])
def test_an_extreme_is_met_and_never_passed(last: float, high: float | None, low: float | None) -> None:
    drawn = interpolated_hours(Segment(1.0, last, 6, high, low))
    if high is not None:
        assert max(drawn) == pytest.approx(high)
    if low is not None:
        assert min(drawn) == pytest.approx(low)
    ends = (1.0, last)
    assert max(drawn) <= (high or max(ends)) + 1e-9
    assert min(drawn) >= (low or min(ends)) - 1e-9


def test_a_gap_is_never_drawn_over() -> None:
    far = read(shapes.series([step("2026-03-07T06:00:00Z", 1.0), step("2026-03-07T18:00:00Z", 2.0)]))
    assert far.hours.c == (1.0, *[None] * 11, 2.0)
    named = read(shapes.series([
        step("2026-03-07T06:00:00Z", 1.0), step("2026-03-07T07:00:00Z", None), step("2026-03-07T08:00:00Z", 2.0)
    ]))  # fmt: skip
    assert (named.hours.c, named.hours.quality) == ((1.0, None, 2.0), "1-2")


def test_percentiles_become_a_spread_and_crossed_ones_none() -> None:
    def tenths(low: Any, high: Any) -> dict[str, Any]:
        return {"air_temperature_percentile_10": low, "air_temperature_percentile_90": high}

    forecast = read(shapes.series([
        step("2026-03-07T06:00:00Z", 5.0, **tenths(2.437, 5.0)), step("2026-03-07T07:00:00Z", 5.0, **tenths(9, 1)),
        step("2026-03-07T08:00:00Z", 5.0, **tenths(1, None)), step("2026-03-07T09:00:00Z", 5.0),
    ]))  # fmt: skip
    assert forecast.hours.spread_c == (pytest.approx(1.0), None, None, None)
    assert forecast.remarks == ("percentiles in the wrong order were left out",)
    assert read(shapes.series()).hours.spread_c == ()


def test_a_form_that_will_be_replaced_is_read_with_a_remark() -> None:
    forecast = read(shapes.series(), status=203)
    assert forecast.hours == read(shapes.series()).hours
    assert "will be replaced" in forecast.remarks[-1]


def test_an_unknown_time_of_issue_is_twelve_hours_back() -> None:
    forecast = read(shapes.series(updated_at=None))
    assert (forecast.issued_at, forecast.issued_is_estimate) == (NOW - timedelta(hours=12), True)


@pytest.mark.parametrize(
    ("document", "kind"),
    [
        (shapes.series([]), "empty"),
        (shapes.series([step("2026-03-07T06:00:00Z", None)]), "empty"),
        (shapes.series([step("2026-03-07T06:00:00", 4.0)]), "empty"),
        (shapes.series([step("2026-03-07T06:30:00Z", 4.0)]), "empty"),
        (shapes.series([step("2026-03-07T06:00:00Z", 400.0)]), "empty"),
        (shapes.series([step("2026-03-07T06:00:00Z", True)]), "empty"),
        (shapes.series([step("2026-03-07T06:00:00Z", "4.0")]), "empty"),
        (shapes.series(units={"air_temperature": "fahrenheit"}), "unit"),
        (shapes.series(units={}), "unit"),
        (shapes.series([step("2026-03-07T06:00:00Z", 1.0), step("2027-03-07T06:00:00Z", 1.0)]), "span"),
        (b'{"type": "Feature", "properties": {"meta', "broken"),
        ({"properties": []}, "missing part"),
        (shapes.series() | {"geometry": {"type": "Point", "coordinates": [-88.0, 35.15, 87]}}, "far away"),
        (shapes.series() | {"geometry": {"type": "Point", "coordinates": [0.0, 0.0]}}, "far away"),
    ],
)
def test_an_answer_that_cannot_be_relied_on_is_refused(document: Any, kind: str) -> None:
    with pytest.raises(BadResponse) as refused:
        read(document)
    assert refused.value.kind == kind


TENTHS = {"air_temperature_percentile_10": 6.0, "air_temperature_percentile_90": 12.0}
COMPLETE = shapes.series([
    step("2026-03-07T10:00:00Z", 8.0, 16.0, 8.0, **TENTHS), step("2026-03-07T11:00:00Z", 9.0, **TENTHS),
    step("2026-03-07T12:00:00Z", 10.0, 17.0, 9.5, **TENTHS), step("2026-03-07T18:00:00Z", 14.0, 14.2, 3.0),
    step("2026-03-08T00:00:00Z", 5.0),
])  # fmt: skip


@pytest.mark.parametrize("path", shapes.part_paths(COMPLETE), ids=str)
def test_with_any_part_missing_nothing_becomes_surer(path: tuple[Any, ...]) -> None:
    whole = read(COMPLETE)
    try:
        forecast = read(shapes.without(COMPLETE, path))
    except ServiceTrouble:
        return
    sure = {whole.hours.starts_at + hour * hour_grid.HOUR: (value, flag_step_h(mark)) for hour, (value, mark) in
            enumerate(zip(whole.hours.c, whole.hours.quality, strict=True))}  # fmt: skip
    for hour, (value, mark) in enumerate(zip(forecast.hours.c, forecast.hours.quality, strict=True)):
        true, step_h = sure[forecast.hours.starts_at + hour * hour_grid.HOUR]
        # A changed hour is missing, or marked as interpolated.
        assert value in (None, true) or flag_step_h(mark) > 1
        assert value is None or flag_step_h(mark) >= step_h
    assert forecast.issued_at <= whole.issued_at


@pytest.mark.parametrize(
    ("status", "expected"),
    [(400, BadResponse), (401, NeedsKey), (403, NeedsKey), (404, NotCovered), (422, NotCovered), (429, RateLimited),
     (499, Unavailable), (500, Unavailable), (502, Unavailable), (503, Unavailable), (504, Unavailable)],
)  # fmt: skip
def test_errors_are_told_apart_though_their_bodies_are_pages(status: int, expected: type[ServiceTrouble]) -> None:
    with pytest.raises(expected) as trouble:
        read(b"<html><h1>no</h1></html>", status=status, kind="text/html")
    assert trouble.value.status in (status, 422)


def test_the_service_says_how_long_it_wants_to_be_left_alone() -> None:
    ways = {"90": 90, "999999": 3600, "soon": 600, "Sat, 07 Mar 2026 10:25:00 GMT": 300}
    for header, seconds in ways.items():
        with pytest.raises(RateLimited) as limited:
            read(b"", status=429, **{"retry-after": header})
        assert limited.value.until == NOW + timedelta(seconds=seconds)
