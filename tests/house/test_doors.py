"""The site as `serve` runs it: behind a server that speaks HTTPS, and under the names that it was given."""

import json
from collections.abc import Iterator
from threading import Thread
from typing import Any
from urllib.request import Request, urlopen

import pytest
import waitress
from waitress.server import create_server

from breeder import wsgi
from breeder.house import surroundings
from breeder.management import doors, warming

TOLD = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "203.0.113.7"}
ASKED = ("HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_FOR")


def heard(environ: dict[str, Any], start_response: Any) -> Iterator[bytes]:
    """Answer what the site would learn of the server in front."""
    start_response("200 OK", [("Content-Type", "application/json")])
    yield json.dumps([environ.get(name) for name in ASKED]).encode()


def served(application: Any, **asked: Any) -> list[str | None]:
    server = create_server(application, **asked | {"host": "127.0.0.1", "port": 0})
    Thread(target=server.run, daemon=True).start()
    try:
        with urlopen(Request(f"http://127.0.0.1:{server.effective_port}/", headers=TOLD)) as answer:
            found: list[str | None] = json.load(answer)
    finally:
        server.close()
    return found


@pytest.mark.parametrize(("https", "said"), [(True, list(TOLD.values())), (False, [None, None])])
def test_what_the_server_in_front_says_is_heard_behind_https_only(
    settings: Any, monkeypatch: pytest.MonkeyPatch, https: bool, said: list[str | None]
) -> None:
    """Unheard, every page that came by HTTPS is sent to HTTPS once more, without end."""
    settings.HTTPS = https
    found: list[list[str | None]] = []
    monkeypatch.setattr(wsgi, "application", heard)
    monkeypatch.setattr(warming.Warming, "start", lambda self: None)
    monkeypatch.setattr(waitress, "serve", lambda application, **asked: found.append(served(application, **asked)))
    doors.serve_site("127.0.0.1", 0, lambda said: None)
    assert found == [said]


def test_spaces_between_the_names_of_the_site_are_none_of_it() -> None:
    assert surroundings.names_in("book.lan, 192.168.1.20 ,") == ["book.lan", "192.168.1.20"]
