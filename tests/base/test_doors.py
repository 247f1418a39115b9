"""The site as `serve` runs it: behind a server that speaks HTTPS, and under the names that it was given."""

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
    monkeypatch.setattr(warm_calendar.Warming, "start", lambda self: None)
    monkeypatch.setattr(waitress, "serve", lambda application, **asked: found.append(passed_on(application, **asked)))
    server.serve_site("127.0.0.1", 0, lambda said: None)
    assert found == [said]


def test_spaces_between_the_names_of_the_site_are_none_of_it() -> None:
    assert environment.names_in("book.lan, 192.168.1.20 ,") == ["book.lan", "192.168.1.20"]
