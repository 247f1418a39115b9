"""The site as `serve` runs it: behind a server that speaks HTTPS, and under the names that it was given."""

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import waitress
from waitress.server import create_server

from breeder import wsgi
from breeder.base import environment
from breeder.management import server, warm_calendar

TOLD = {"HTTP_X_FORWARDED_PROTO": "https", "HTTP_X_FORWARDED_FOR": "203.0.113.7"}


def passed_on(application: Any, **asked: Any) -> list[str | None]:
    """Return what a server that was asked for in this way tells the site of what it was told."""
    server = create_server(application, **asked | {"host": "127.0.0.1", "port": 0})
    try:
        environ: dict[str, Any] = {"REMOTE_ADDR": "127.0.0.1", **TOLD}
        server.application(environ, lambda *answer: None)
    finally:
        server.close()
    return [environ.get(name) for name in TOLD]


@pytest.mark.parametrize(("https", "said"), [(True, list(TOLD.values())), (False, [None, None])])
def test_what_the_server_in_front_says_is_heard_behind_https_only(
    settings: Any, monkeypatch: pytest.MonkeyPatch, https: bool, said: list[str | None]
) -> None:
    """Unheard, every page that came by HTTPS is sent to HTTPS once more, without end."""
    settings.HTTPS = https
    found: list[list[str | None]] = []
    monkeypatch.setattr(wsgi, "application", lambda environ, start_response: [])
    monkeypatch.setattr(warm_calendar.BoardWarmer, "start", lambda self: None)
    monkeypatch.setattr(waitress, "serve", lambda application, **asked: found.append(passed_on(application, **asked)))
    server.serve_site("127.0.0.1", 0, lambda said: None)
    assert found == [said]


Site = tuple[str, int]


@pytest.fixture
def site(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., Site]]:
    """Return what opens the doors as `serve` does, before an application that answers `well`; limits may be changed."""
    opened: list[Any] = []

    def application(environ: dict[str, Any], start_response: Callable[..., Any]) -> list[bytes]:
        start_response("200 OK", [("Content-Length", "4")])
        return [b"well"]

    def run_beside(application: Any, **asked: Any) -> None:
        made = create_server(application, **asked)
        opened.append((made, threading.Thread(target=made.run, daemon=True)))
        opened[-1][1].start()

    def start(**changed: Any) -> Site:
        monkeypatch.setattr(server, "LIMITS", server.LIMITS | changed)
        monkeypatch.setattr(wsgi, "application", application)
        monkeypatch.setattr(warm_calendar.BoardWarmer, "start", lambda self: None)
        monkeypatch.setattr(waitress, "serve", run_beside)
        server.serve_site("127.0.0.1", 0, lambda said: None)
        return "127.0.0.1", int(opened[-1][0].effective_port)

    yield start
    for made, thread in opened:
        made.asyncore.close_all(made._map)
        made.task_dispatcher.shutdown()
        thread.join(timeout=5)


def half_sent(site: Site) -> socket.socket:
    caller = socket.create_connection(site, timeout=20)
    caller.sendall(b"POST /login/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\nname=")
    return caller


def answer_of(site: Site, text: bytes = b"GET / HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n") -> bytes:
    with socket.create_connection(site, timeout=5) as caller:
        caller.sendall(text)
        return caller.recv(1000)


def test_half_sent_requests_do_not_stop_the_site(site: Callable[..., Site]) -> None:
    """130 of them did, when 100 connections were the most."""
    where = site()
    with contextlib.ExitStack() as callers:
        for _ in range(130):
            callers.enter_context(half_sent(where))
        assert answer_of(where).startswith(b"HTTP/1.1 200 OK")


def test_whoever_sends_nothing_more_is_sent_away(site: Callable[..., Site]) -> None:
    """Here after a second; the other callers, as many as there is room for, are let in then."""
    assert server.LIMITS["channel_timeout"] <= 30
    where = site(channel_timeout=1, cleanup_interval=1, connection_limit=10)
    with contextlib.ExitStack() as callers:
        silent = [callers.enter_context(half_sent(where)) for _ in range(10)]
        assert silent[0].recv(1) == b""
        assert answer_of(where).startswith(b"HTTP/1.1 200 OK")


@pytest.mark.parametrize(
    ("size", "answer"), [(19_999_999, b""), (20_000_000, b"HTTP/1.1 413 "), (1 << 30, b"HTTP/1.1 413 ")]
)
def test_a_body_is_refused_for_its_size_before_it_is_sent(site: Callable[..., Site], size: int, answer: bytes) -> None:
    head = b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n" % size
    with socket.create_connection(site(), timeout=1) as caller:
        caller.sendall(head)
        try:
            heard = caller.recv(1000)
        except TimeoutError:  # it waits for the body
            heard = b""
    assert heard.startswith(answer)
    assert bool(heard) == bool(answer)


def test_spaces_between_the_names_of_the_site_are_none_of_it() -> None:
    assert environment.names_in("book.lan, 192.168.1.20 ,") == ["book.lan", "192.168.1.20"]
