"""Every fault of a service ends soon, in a clear failure; nothing is requested more often than it helps."""

import gzip
import socket
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest

from breeder.weather.fetcher import Fetcher, Patience
from breeder.weather.http_pool import is_private
from breeder.weather.services.errors import BadResponse, Unavailable
from breeder.weather.services.types import ServiceRequest
from tests.weather import rogue
from tests.weather.rogue import Rogue, leads_to, says

NOW = datetime(2026, 3, 7, 10, 20, tzinfo=UTC)
SHORT = Patience(connect_s=0.3, read_s=0.3, overall_s=0.6)
GOOD = says({"good": 1})
KEY = "k3y-of-the-keeper"


class Clocks:
    """A sleep that only records how long."""

    def __init__(self) -> None:
        self.slept: list[float] = []

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)


def fetcher(own_home: str, clocks: Clocks | None = None, **more: Any) -> Fetcher:
    given: dict[str, Any] = {
        "service": "The service", "domain": "weather.example", "own_home": own_home, "patience": SHORT,
        "clock": lambda: NOW, "sleep": (clocks or Clocks()).sleep, "dice": Random(7),
    } | more  # fmt: skip
    return Fetcher(**given)


def ask(server: Rogue, path: str = "/x?lat=35.15", **more: Any) -> ServiceRequest:
    return ServiceRequest(
        "forecast", server.home + path, {"User-Agent": "Underbark/0.1"}, timedelta(minutes=15), **more
    )


def test_an_answer_comes_whole_with_its_headers_and_the_question_names_us() -> None:
    with rogue.rogue(says({"good": 1}, Expires="Sat, 07 Mar 2026 11:00:00 GMT")) as server:
        answer = fetcher(server.home).get(ask(server), {"If-Modified-Since": "Sat, 07 Mar 2026 09:00:00 GMT"})
    assert (answer.status, answer.body, answer.fetched_at) == (200, b'{"good": 1}', NOW)
    assert answer.moment("expires") == datetime(2026, 3, 7, 11, tzinfo=UTC)
    ((path, headers),) = server.asked
    assert path == "/x?lat=35.15"
    assert headers["user-agent"] == "Underbark/0.1"
    assert headers["accept-encoding"] == "gzip"
    assert headers["if-modified-since"] == "Sat, 07 Mar 2026 09:00:00 GMT"


@pytest.mark.parametrize(
    "fault",
    [says(b"<h1>down</h1>", status, "text/html") for status in (500, 502, 503, 504)]
    + [rogue.short, rogue.resets, says(b'{"half": [1, 2Something went wrong.')],
)
def test_what_may_be_better_next_time_is_tried_again(fault: Any) -> None:
    clocks = Clocks()
    with rogue.rogue(fault, fault, GOOD) as server:
        answer = fetcher(server.home, clocks, patience=Patience(0.3, 0.3, 60.0)).get(ask(server))
    assert answer.body == b'{"good": 1}'
    assert len(server.asked) == 3
    assert sum(clocks.slept) <= 1 + 5 + 2  # two waits with jitter, and a second between questions


@pytest.mark.parametrize("status", [400, 401, 403, 404, 422, 429])
def test_what_will_not_be_better_is_asked_once(status: int) -> None:
    with rogue.rogue(says({"title": "no"}, status, "application/problem+json")) as server:
        assert fetcher(server.home).get(ask(server)).status == status
    assert len(server.asked) == 1


def test_three_tries_are_the_most_and_the_last_answer_is_returned() -> None:
    with rogue.rogue(says({"type": "ForecastGridExpired"}, 503, "application/problem+json")) as server:
        answer = fetcher(server.home, patience=Patience(0.3, 0.3, 60.0)).get(ask(server))
    assert (answer.status, len(server.asked)) == (503, 3)
    assert b"ForecastGridExpired" in answer.body


def test_a_limited_question_is_asked_again_where_the_service_says_so() -> None:
    clocks = Clocks()
    with rogue.rogue(says({}, 429), GOOD) as server:
        answer = fetcher(server.home, clocks, retry_when_limited_s=5.0, patience=Patience(0.3, 0.3, 60.0)).get(
            ask(server)
        )
    assert answer.status == 200
    assert 5.0 in clocks.slept


def test_a_service_that_wants_a_long_rest_is_not_waited_for() -> None:
    clocks = Clocks()
    with rogue.rogue(says({}, 503, Retry_After="3000")) as server:
        assert fetcher(server.home, clocks).get(ask(server)).status == 503
    assert (len(server.asked), clocks.slept) == (1, [])


@pytest.mark.parametrize("fault", [rogue.hangs, rogue.drips, rogue.drips_headers])
def test_a_server_that_never_ends_is_left_in_time(fault: Callable[..., None]) -> None:
    began = time.monotonic()
    with rogue.rogue(fault) as server, pytest.raises(Unavailable) as trouble:
        fetcher(server.home).get(ask(server))
    assert time.monotonic() - began < SHORT.overall_s + 0.5
    assert trouble.value.sentence.endswith("It is asked again.")


def test_no_server_at_all_is_a_plain_trouble() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        home = f"http://127.0.0.1:{taken.getsockname()[1]}"
        with pytest.raises(Unavailable, match="cannot be reached"):
            fetcher(home).get(ServiceRequest("forecast", home + "/x", {}, timedelta(0)))


def test_a_body_larger_than_any_forecast_is_refused_even_when_packed() -> None:
    bomb = gzip.compress(b"0" * 6_000_000)
    for behaviour in (says(b"0" * 5_100_000), says(bomb, Content_Encoding="gzip")):
        with rogue.rogue(behaviour) as server, pytest.raises(BadResponse, match="larger than 5 MB"):
            fetcher(server.home, patience=Patience(1, 1, 5)).get(ask(server))


def test_a_packed_body_is_unpacked() -> None:
    with rogue.rogue(says(gzip.compress(b'{"good": 1}'), Content_Encoding="gzip")) as server:
        assert fetcher(server.home).get(ask(server)).body == b'{"good": 1}'


def test_a_redirect_within_the_server_is_followed_at_most_three_times() -> None:
    with rogue.rogue(leads_to(lambda _: "/canonical"), GOOD) as server:
        assert fetcher(server.home).get(ask(server)).status == 200
        assert [path for path, _ in server.asked] == ["/x?lat=35.15", "/canonical"]
    with rogue.rogue(leads_to(lambda _: "/again")) as server, pytest.raises(BadResponse, match="more than 3 times"):
        fetcher(server.home).get(ask(server))


@pytest.mark.parametrize(
    "address", ["https://elsewhere.example/x", "http://127.0.0.1:1/x", "file:///etc/passwd", "//localhost/x"]
)
def test_a_redirect_to_elsewhere_is_not_followed_and_takes_no_key(address: str, nowhere_else: list[Any]) -> None:
    with rogue.rogue(leads_to(lambda _: address)) as server, pytest.raises(BadResponse, match="leads away") as trouble:
        fetcher(server.home).get(ask(server, secret={"X-Api-Key": KEY}))
    assert server.asked[0][1]["x-api-key"] == KEY
    assert nowhere_else == []
    assert KEY not in str(trouble.value)


@pytest.mark.parametrize(
    "url",
    ["http://api.weather.example/x", "https://weather.example.evil.example/x", "https://notweather.example/x",
     "ftp://weather.example/x", "https://user@evil.example/x"],
)  # fmt: skip
def test_only_the_services_own_name_is_asked_and_only_by_https(url: str, nowhere_else: list[Any]) -> None:
    with pytest.raises(BadResponse, match="leads away"):
        fetcher("").get(ServiceRequest("forecast", url, {}, timedelta(0)))
    assert nowhere_else == []


def test_a_name_that_leads_into_the_home_network_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with rogue.rogue(GOOD) as server:
        port = server.server_address[1]
        monkeypatch.setattr(Fetcher, "_host", lambda self, url: "here")
        with pytest.raises(BadResponse, match="private network"):
            fetcher("").get(ServiceRequest("forecast", f"http://127.0.0.1:{port}/x", {}, timedelta(0)))
    assert server.asked == []


@pytest.mark.parametrize(
    ("address", "private"),
    [("127.0.0.1", True), ("10.1.2.3", True), ("192.168.1.4", True), ("169.254.169.254", True), ("::1", True),
     ("fe80::1%eth0", True), ("::ffff:10.0.0.1", True), ("100.64.0.1", True), ("0.0.0.0", True), ("8.8.8.8", False),
     ("2606:4700:4700::1111", False), ("::ffff:8.8.8.8", False)],
)  # fmt: skip
def test_private_addresses(address: str, private: bool) -> None:
    assert is_private(address) is private


def test_one_host_is_asked_once_a_second() -> None:
    clocks = Clocks()
    with rogue.rogue(GOOD) as server:
        patient = fetcher(server.home, clocks, monotonic=lambda: 100.0)
        for _ in range(3):
            patient.get(ask(server))
    assert clocks.slept == [1.0, 1.0]


def test_not_modified_is_an_answer() -> None:
    with rogue.rogue(says(b"", 304)) as server:
        assert fetcher(server.home).get(ask(server)).status == 304
