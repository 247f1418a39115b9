"""Every fault seen in a service, injected by a local server, from the request to the page of the place."""

import gzip
import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from breeder.base.models import Setting
from breeder.weather import fetch_store, hour_grid, queries
from breeder.weather.models import Fetch, Forecast, Lease, Place
from tests.weather import rogue
from tests.weather.rogue import Behaviour, Caller, leads_to, says
from tests.weather.services import shapes
from tests.weather.services.test_extremes import FULL
from tests.weather.services.test_norway import COMPLETE
from tests.weather.test_refreshing import GEO, GONE, NOW, US, Clock, bring, by_path, choose, clock, place

__all__ = ["clock", "place"]

pytestmark = pytest.mark.django_db

EMPTY_WORLD = {"geometry": {"type": "Point", "coordinates": [0, 0]}}
PROBLEM = "application/problem+json"


def raw(reply: bytes) -> Behaviour:
    """Send raw bytes and hang up."""

    def behave(caller: Caller) -> None:
        caller.wfile.write(reply)
        caller.close_connection = True

    return behave


def stale(document: dict[str, Any]) -> Behaviour:
    """Answer with an old forecast behind the headers of a new one."""
    return says(document, Last_Modified="Sat, 07 Mar 2026 11:00:00 GMT", Cache_Control="public, max-age=300")


HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\n"
WHOLE = json.dumps(shapes.series()).encode()
# The same name twice: reading either of them would be a guess.
TWICE = WHOLE.replace(b'"air_temperature": 8.0', b'"air_temperature": -30.0, "air_temperature": 8.0')

FAULTS: dict[str, Any] = {
    "429": says({}, 429), "503": says({"type": "urn:x:ForecastGridExpired"}, 503, PROBLEM),
    "500": says({}, 500), "no contact": says({}, 401), "refused": says(b"<h1>no</h1>", 403, "text/html"),
    "no content": raw(b"HTTP/1.1 204 No Content\r\n\r\n"), "part": says(WHOLE[:40], 206), "unasked 304": says(b"", 304),
    "html": says(b"<html>hello</html>", kind="text/html"), "json as text": says(WHOLE, kind="text/plain"),
    "no kind": raw(b"HTTP/1.1 200 OK\r\n\r\n" + WHOLE), "empty": says(b""), "a list": says([]),
    "half": says(b'{"a": [1,Something went wrong.'), "half, then text": says(WHOLE[:-9] + b"Unexpected error"),
    "short": rogue.short, "reset": rogue.resets, "hang": rogue.hangs, "drip": rogue.drips,
    "drip in headers": rogue.drips_headers, "nothing": raw(b""), "no http": raw(b"220 mail.example ready\r\n"),
    "a thousand headers": raw(HEAD + b"X-More: 1\r\n" * 1000 + b"\r\n"),
    "a long header": raw(HEAD + b"X-Long: " + b"x" * 100_000 + b"\r\n\r\n{}"),
    "chunks cut off": raw(HEAD + b"Transfer-Encoding: chunked\r\n\r\n40\r\n" + WHOLE[:32]),
    "chunks of no size": raw(HEAD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n{}\r\n0\r\n\r\n"),
    "half a packet": says(gzip.compress(WHOLE)[:60], Content_Encoding="gzip"),
    "no packet": says(WHOLE, Content_Encoding="gzip"),
    "bomb": says(gzip.compress(b"0" * 6_000_000), Content_Encoding="gzip"), "huge": says(b" " * 5_100_000 + WHOLE),
    "led away": leads_to(lambda _: "https://elsewhere.example/x"), "led in circles": leads_to(lambda _: "/again"),
    "led nowhere": says(b"", 302), "nested": says(b"[" * 100_000), "nan": says(b'{"properties": NaN}'),
    "infinity": says(WHOLE.replace(b"8.0", b"Infinity")), "beyond numbers": says(WHOLE.replace(b"8.0", b"9" * 5000)),
    "twice": says(TWICE), "no letter": says(WHOLE.replace(b"celsius", b"celsius\\u0000")), 
    "no text": says(b"\xff" * 99),
    "stale": stale(shapes.series(updated_at="2026-03-01T00:00:00Z")),
    "far cell": says(shapes.series() | {"geometry": {"type": "Point", "coordinates": [-74.0, 40.7, 5]}}),
    "null island": says(shapes.series() | EMPTY_WORLD),
    "only nulls": says(shapes.series([shapes.step("2026-03-07T10:00:00Z", None)])),
    "°F": says(shapes.series(units={"air_temperature": "fahrenheit"})), "no units": says(shapes.series(units={})),
    "thousands": says(shapes.series([shapes.step("2026-03-07T10:00:00Z", 9999)])), "no steps": says(shapes.series([])),
    "end of time": says(shapes.series([shapes.step(f"{year}-03-07T10:00:00Z", 1.0) for year in ("0001", "9999")])),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_whatever_goes_wrong_earlier_hours_stay_and_the_place_says_what_it_was(
    clock: Clock, place: Place, fault: Any, keeper_client: Client
) -> None:
    with rogue.rogue(says(shapes.series()), fault) as server:
        choose(server)
        bring(clock, place)
        clock.now += timedelta(hours=1)
        patient = bring(clock, place)
    assert len(patient.troubles) == 1
    assert Forecast.objects.count() == 1
    page = keeper_client.get(reverse("weather:place", args=[place.pk])).content.decode()
    assert patient.troubles[0].split("(")[0][:40] in page
    assert not Lease.objects.filter(until__gt=clock.now).exists()


GRID_FAULTS: dict[str, Behaviour] = {
    "frozen": says(shapes.grid(updateTime="2026-03-02T09:12:00+00:00"), kind=GEO, Date="Sat, 07 Mar 2026 10:20:00 GMT"),
    "empty layer": says(shapes.grid([]), kind=GEO), "no unit": says(shapes.grid(temperature={"values": []}), kind=GEO),
    "now": says(shapes.grid([{"validTime": "NOW/PT3H", "value": 1.0}]), kind=GEO),
    "without end": says(shapes.grid([{"validTime": "9999-12-31T23:00:00+00:00/P9W", "value": 1.0}]), kind=GEO),
    "far outline": says(shapes.grid() | {"geometry": {"coordinates": [[[0, 0], [0, 0.1]]]}}, kind=GEO),
    "lapsed": says({"type": "urn:x:ForecastGridExpired"}, 503, PROBLEM), "gone": GONE, "busy": says({}, 429),
    "error 500": says({"type": "https://x/problems/UnexpectedProblem"}, 500, PROBLEM),
}  # fmt: skip


@pytest.mark.parametrize("fault", GRID_FAULTS.values(), ids=GRID_FAULTS)
def test_a_faulty_grid_leaves_earlier_hours_and_says_so(clock: Clock, place: Place, fault: Behaviour) -> None:
    with rogue.rogue(by_path(US)) as server:
        choose(server, "nws")
        bring(clock, place)
        server.behaviours[:] = [by_path(US | {"/gridpoints/": fault})]
        clock.now += timedelta(hours=1)
        assert len(bring(clock, place).troubles) == 1
        assert Forecast.objects.count() == 1
        server.behaviours[:] = [by_path(US)]
        Place.objects.update(wanted_at=clock.now)
        clock.now += timedelta(hours=2)
        place.refresh_from_db()
        assert bring(clock, place).troubles == []


@pytest.mark.parametrize("body", [b"<html>down</html>", b"\0\0\0", b'{"properties": {"gridId": "\\u0000"}}'])
def test_a_point_that_says_nothing_is_not_kept_for_a_month(clock: Clock, place: Place, body: bytes) -> None:
    with rogue.rogue(by_path(US | {"/points/": says(body, kind=GEO)})) as server:
        choose(server, "nws")
        assert len(bring(clock, place).troubles) == 1
        assert not Fetch.objects.exclude(body="").exists()
        server.behaviours[:] = [by_path(US)]
        clock.now += timedelta(hours=2)
        assert bring(clock, place).brought == 1


def test_an_open_meteo_that_breaks_off_within_a_good_status_is_refused(clock: Clock, place: Place) -> None:
    whole = json.dumps(shapes.hourly()).encode()
    broken, far = whole[:-30] + b"Something went wrong.", whole.replace(b"-90.0", b"0.0")
    for body in (broken, whole.replace(b"null", b"nan"), far):
        with rogue.rogue(says(body)) as server:
            choose(server, "open-meteo", weather_key="k3y-of-the-keeper")
            Place.objects.update(wanted_at=clock.now)
            place.refresh_from_db()
            assert len(bring(clock, place).troubles) == 1
    assert not Forecast.objects.exists()


SHAPES: dict[str, tuple[Setting.WeatherService, Any, str, str]] = {
    "met": (Setting.WeatherService.MET, COMPLETE, "/weatherapi/", "application/json"),
    "nws grid": (Setting.WeatherService.NWS, FULL, "/gridpoints/", GEO),
    "nws point": (Setting.WeatherService.NWS, shapes.point(), "/points/", GEO),
}


def served(way: str, document: Any, kind: str) -> Behaviour:
    paths = {"/gridpoints/MEG/0,31/stations": GONE, way: says(document, kind=kind)}
    return by_path(paths | {path: behave for path, behave in US.items() if path not in paths})


@pytest.mark.parametrize("name", SHAPES)
def test_with_each_part_of_an_answer_missing_in_turn_the_hours_are_kept_or_the_place_says_why(
    clock: Clock, place: Place, name: str
) -> None:
    service, document, way, kind = SHAPES[name]
    paths = shapes.part_paths(document)
    seen = Fetch.objects.exclude(endpoint__in=fetch_store.MEASURING)
    with rogue.rogue(served(way, document, kind)) as server:
        choose(server, service)
        bring(clock, place)
        whole = queries.hours_for(place, NOW, NOW + 6 * hour_grid.HOUR)
        for path in paths:
            forget()
            server.behaviours[:] = [served(way, shapes.without(document, path), kind)]
            report = bring(clock, place)
            assert report.brought + len(report.troubles) == 1, path
            assert bool(report.troubles) is seen.exclude(trouble="").exists(), path
            hours = queries.hours_for(place, NOW, NOW + 6 * hour_grid.HOUR)
            assert len(hours.c) == len(whole.c)
            assert bool(report.brought) is any(value is not None for value in hours.c), path


def forget() -> None:
    """Forget every answer and forecast."""
    Fetch.objects.all().delete()
    Forecast.objects.all().delete()


def test_a_plain_server_at_an_https_address_is_sent_nothing(clock: Clock, place: Place) -> None:
    """A plain HTTP server at an https URL: the handshake fails, and nothing is sent."""
    with rogue.rogue(says(shapes.series())) as server:
        choose(server)
        Setting.objects.update(weather_url=server.home.replace("http://", "https://"))
        report = bring(clock, place)
    assert "cannot be reached" in report.sentence
    assert server.asked == []
