"""Daily highs and lows: hours are bent to them, never made milder, and a contradiction is not believed."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as some

from breeder.weather.services import interpolation
from breeder.weather.services.errors import BadResponse
from breeder.weather.services.hour_flags import flag_step_h, hour_flag, is_anchored
from breeder.weather.services.nws import NwsService
from breeder.weather.services.types import FetchedForecast
from tests.weather.services import shapes
from tests.weather.services.shapes import HERE, NOW, answer

SERVICE = NwsService("keeper@example.org")
START = datetime(2026, 3, 7, 13, tzinfo=UTC)
DAY = "2026-03-07T13:00:00+00:00/PT13H"
NIGHT = "2026-03-08T00:00:00+00:00/PT14H"
# A day that warms to 15.0 and a night that cools to 2.0, hour by hour.
HOURS = [5, 7, 9, 11, 13, 14.4, 15, 14.4, 13, 12, 11, 9, 8, 7, 6, 5.5, 5, 4.5, 4, 3.5, 3, 2.5, 2, 2, 3]


def layer(*rows: tuple[str, Any], unit: str = "wmoUnit:degC") -> dict[str, Any]:
    return {"uom": unit, "values": [{"validTime": when, "value": value} for when, value in rows]}


def document(high: Any = None, low: Any = None, **more: Any) -> dict[str, Any]:
    rows = [
        {"validTime": f"{START + timedelta(hours=hour):%Y-%m-%dT%H:00:00+00:00}/PT1H", "value": value}
        for hour, value in enumerate(HOURS)
    ]
    grid = shapes.grid(rows)
    for name, given_layer in (("maxTemperature", high), ("minTemperature", low)):
        if given_layer is not None:
            grid["properties"][name] = given_layer
    return grid | more


def read(document: Any) -> FetchedForecast:
    return SERVICE.parse((answer(shapes.point(), "point"), answer(document, "grid")), HERE, NOW)


FULL = document(
    layer((DAY, 17.2)), layer((NIGHT, 0.6)),
    geometry={"type": "Polygon", "coordinates": [[[-90.06, 35.14], [-90.04, 35.14], [-90.04, 35.16], [-90.06, 35.16]]]},
)  # fmt: skip


def test_the_high_of_a_day_and_the_low_of_a_night_are_met_and_not_passed() -> None:
    forecast = read(FULL)
    assert max(forecast.hours.c[:13]) == pytest.approx(17.2)
    assert min(forecast.hours.c[11:]) == pytest.approx(0.6)
    assert all(after >= before for before, after in zip(HOURS[:11], forecast.hours.c[:11], strict=True))
    assert forecast.hours.quality == "a" * 25
    assert forecast.remarks == ()


def test_a_milder_extreme_changes_nothing() -> None:
    forecast = read(document(layer((DAY, 14.0)), layer((NIGHT, 4.0))))
    assert list(forecast.hours.c) == HOURS


def test_an_extreme_that_contradicts_its_hours_gets_a_remark_and_is_not_believed() -> None:
    forecast = read(document(layer((DAY, 33.0)), layer((NIGHT, 1.0))))
    assert list(forecast.hours.c[:11]) == HOURS[:11]
    assert forecast.remarks == ("1 highs or lows contradict their hours and were left out",)


@pytest.mark.parametrize(
    "high",
    [
        None,
        {"values": []},
        {"uom": "wmoUnit:degF", "values": [{"validTime": DAY, "value": 63}]},
        layer((DAY, None)),
        layer((DAY, 9999)),
        layer((DAY, "17")),
        layer(("NOW/PT13H", 17.0)),
        layer(("2026-03-07T13:00:00+00:00/P3D", 17.0)),
        {"uom": "wmoUnit:degC"},
        [],
    ],
    ids=str,
)
def test_extremes_that_cannot_be_read_leave_the_hours_alone_and_are_not_counted(high: Any) -> None:
    forecast = read(document(high, layer((NIGHT, 2.0))))
    assert list(forecast.hours.c) == HOURS
    assert forecast.hours.quality == "1" * 25


def test_a_window_that_began_before_the_hours_bends_nothing() -> None:
    forecast = read(document(layer(("2026-03-07T10:00:00+00:00/PT13H", 18.0)), layer((NIGHT, 2.0))))
    assert list(forecast.hours.c) == HOURS


@pytest.mark.parametrize("path", shapes.part_paths(FULL), ids=str)
def test_with_any_part_missing_no_hour_becomes_milder_than_it_was_given(path: tuple[Any, ...]) -> None:
    whole = read(FULL).hours
    try:
        hours = read(shapes.without(FULL, path)).hours
    except BadResponse:
        return
    between = dict(zip(range(len(HOURS)), zip(HOURS, whole.c, strict=True), strict=True))
    for index, value in enumerate(hours.c):
        at = index + round((hours.starts_at - whole.starts_at) / timedelta(hours=1))
        low, high = sorted(between[at])
        assert value is None or low - 1e-9 <= value <= high + 1e-9 or value == pytest.approx(whole.c[at], abs=1.0)


@pytest.mark.parametrize(
    ("corner", "km"), [([-90.05, 35.4], None), ([-90.05, 36.2], "117 km"), ([0.0, 0.0], "far away")]
)
def test_a_cell_far_from_the_place_is_another_places(corner: list[float], km: str | None) -> None:
    far = FULL | {"geometry": {"type": "Polygon", "coordinates": [[corner, corner, corner]]}}
    if km is None:
        assert read(far).hours.quality == "a" * 25
        return
    with pytest.raises(BadResponse, match=km):
        read(far)


@given(some.lists(some.floats(-40, 40), min_size=1, max_size=24), some.floats(-45, 45), some.sampled_from([1, -1]))
def test_hours_bent_to_an_extreme_meet_it_on_its_side_or_stay(hours: list[float], extreme: float, way: int) -> None:
    bent = interpolation.bent_to_extreme(hours, extreme, way)
    assert all(way * (after - before) >= -1e-9 for before, after in zip(hours, bent, strict=True))
    if all(way * (extreme - value) > 0 for value in hours):
        assert max(way * value for value in bent) == pytest.approx(way * extreme, abs=1e-6)
    else:
        assert bent == hours


@pytest.mark.parametrize("anchored", [False, True])
@pytest.mark.parametrize("step_h", range(1, 10))
def test_marks_come_back_as_they_were_written(step_h: int, anchored: bool) -> None:
    letter = hour_flag(step_h, anchored=anchored)
    assert (flag_step_h(letter), is_anchored(letter)) == (step_h, anchored)


def test_a_missing_hour_has_no_step_and_no_extremes() -> None:
    assert (flag_step_h("-"), is_anchored("-"), is_anchored("")) == (1, False, False)
    with pytest.raises(ValueError, match="1 to 9"):
        hour_flag(10, anchored=False)
