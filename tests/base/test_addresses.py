"""The phone at home: which address is printed and accepted, and what a refused name is told.

Home networks by RFC 1918, addresses for documentation by RFC 5737.
"""

import re
import socket
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from breeder.base import addresses, qr
from breeder.management import server
from breeder.management.commands import serve

HOME = "192.168.1.20"


class Probe:
    """A socket of a machine whose way out has this address."""

    def __init__(self, address: str) -> None:
        self.address = address

    def __call__(self, *kind: Any) -> "Probe":
        return self

    def __enter__(self) -> "Probe":
        return self

    def __exit__(self, *_: Any) -> None:
        pass

    def connect(self, where: tuple[str, int]) -> None:
        if not self.address:
            raise OSError("no network")

    def getsockname(self) -> tuple[str, int]:
        return self.address, 40_000


@pytest.mark.parametrize(
    ("own", "home"),
    [
        ("192.168.1.20", "192.168.1.20"),
        ("10.0.0.7", "10.0.0.7"),
        ("172.31.255.9", "172.31.255.9"),
        ("172.32.0.1", ""),  # just past RFC 1918
        ("203.0.113.9", ""),
        ("127.0.0.1", ""),
        ("169.254.7.7", ""),
        ("", ""),
    ],
)
def test_only_an_address_of_a_home_network_is_for_the_phone(
    monkeypatch: pytest.MonkeyPatch, own: str, home: str
) -> None:
    monkeypatch.setattr(socket, "socket", Probe(own))
    assert addresses.home_address() == home


def served(monkeypatch: pytest.MonkeyPatch, settings: Any, own: str, **asked: Any) -> tuple[dict[str, Any], str]:
    """Return what the server is started with and what is printed, on a machine with this address."""
    import waitress

    from breeder.management import forecasting, warm_calendar

    settings.ALLOWED_HOSTS = list(addresses.ONLY_HERE)
    started: list[dict[str, Any]] = []
    said: list[str] = []
    monkeypatch.setattr(server, "home_address", lambda: own)
    monkeypatch.setattr(server, "refuse_taken_port", lambda host, port: None)
    monkeypatch.setattr(server, "bring_up_to_date", lambda: None)
    monkeypatch.setattr(server, "first_keeper", lambda say: None)
    monkeypatch.setattr(warm_calendar.BoardWarmer, "start", lambda self: None)
    monkeypatch.setattr(forecasting.ForecastThread, "start", lambda self: None)
    monkeypatch.setattr(waitress, "serve", lambda application, **given: started.append(given))
    command = serve.Command()
    monkeypatch.setattr(command.stdout, "write", said.append)
    command.handle(**({"host": None, "port": 8000} | asked))
    return started[0], "\n".join(said)


def test_the_book_is_open_at_home_by_itself_and_says_where(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    given, said = served(monkeypatch, settings, HOME)
    assert given["listen"] == f"127.0.0.1:8000 {HOME}:8000"
    assert f"http://{HOME}:8000/" in said
    assert HOME in settings.ALLOWED_HOSTS


@pytest.mark.parametrize(("own", "host"), [("", None), (HOME, "127.0.0.1")])
def test_it_is_open_here_alone_without_a_home_network_or_where_asked_so(
    monkeypatch: pytest.MonkeyPatch, settings: Any, own: str, host: str | None
) -> None:
    given, said = served(monkeypatch, settings, own, host=host)
    assert (given["host"], given.get("listen")) == ("127.0.0.1", None)
    assert list(addresses.ONLY_HERE) == settings.ALLOWED_HOSTS
    assert "Only this machine" in said


def test_an_address_of_the_open_internet_is_never_accepted_by_itself(
    monkeypatch: pytest.MonkeyPatch, settings: Any
) -> None:
    served(monkeypatch, settings, "", host="203.0.113.9")
    assert list(addresses.ONLY_HERE) == settings.ALLOWED_HOSTS


def test_behind_https_the_server_in_front_decides(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.HTTPS = True
    given, _ = served(monkeypatch, settings, HOME)
    assert "listen" not in given
    assert list(addresses.ONLY_HERE) == settings.ALLOWED_HOSTS


@pytest.mark.django_db
def test_the_settings_show_the_address_and_its_square_code(keeper_client: Client, settings: Any) -> None:
    settings.ALLOWED_HOSTS = [*addresses.ONLY_HERE, HOME]
    page = keeper_client.get(reverse("base:settings"), headers={"host": "127.0.0.1:8000"}).content.decode()
    assert f'href="http://{HOME}:8000/"' in page
    assert qr.svg_path(f"http://{HOME}:8000/")[0] in page
    settings.ALLOWED_HOSTS = list(addresses.ONLY_HERE)
    page = keeper_client.get(reverse("base:settings"), headers={"host": "127.0.0.1:8000"}).content.decode()
    assert 'class="qr"' not in page
    assert "Only this machine can open the book" in page


def test_the_code_that_is_drawn_has_the_modules_of_the_code() -> None:
    path, side = qr.svg_path("http://192.168.1.20:8000/")
    rows = qr.modules("http://192.168.1.20:8000/")
    assert side == len(rows) + 8
    drawn = {
        (int(x) + step, int(y))
        for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path)
        for step in range(int(length))
    }
    assert drawn == {(x + 4, y + 4) for y, row in enumerate(rows) for x, dark in enumerate(row) if dark}


@pytest.mark.django_db
def test_a_refused_name_is_told_what_to_set_and_nothing_else(client: Client, settings: Any) -> None:
    settings.ALLOWED_HOSTS = [*addresses.ONLY_HERE, "secret-name.lan"]
    answer = client.get("/", headers={"host": "book.lan:8000"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "BREEDER_HOSTS=localhost,127.0.0.1,[::1],book.lan" in page
    assert "secret-name" not in page
    assert "Content-Security-Policy" in answer.headers


@pytest.mark.django_db
@pytest.mark.parametrize("host", ["<b>x</b>", "a b", "x" * 5_000, "../etc", ""])
def test_what_is_no_name_is_not_repeated(client: Client, settings: Any, host: str) -> None:
    settings.ALLOWED_HOSTS = list(addresses.ONLY_HERE)
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 400
    assert len(answer.content) < 6_000
    assert "<b>x" not in answer.content.decode()


@pytest.mark.django_db
def test_labels_whose_code_opens_on_no_phone_say_so_first(keeper_client: Client, settings: Any) -> None:
    from tests import build

    build.tub()
    settings.ALLOWED_HOSTS = list(addresses.ONLY_HERE)
    here = reverse("documents:tub_labels")
    page = keeper_client.get(here, {"numbers": "1"}, headers={"host": "127.0.0.1:8000"})
    assert "No phone can open these labels yet" in page.content.decode()
    assert "numbers=1&amp;anyway=1" in page.content.decode()
    anyway = keeper_client.get(here, {"numbers": "1", "anyway": "1"}, headers={"host": "127.0.0.1:8000"})
    assert anyway.headers["Content-Type"] == "application/pdf"
    settings.ALLOWED_HOSTS.append(HOME)
    assert keeper_client.get(here, headers={"host": "127.0.0.1:8000"}).headers["Content-Type"] == "application/pdf"
