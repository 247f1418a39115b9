"""The second of two clicks gets the answer of the first, whenever it comes; the control without a second look first."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.messages.storage.cookie import CookieStorage
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory

from breeder import middleware
from breeder.base import form_tokens
from tests.racing.clicks_facts import MOMENTS, ROUNDS
from tests.servers import postgresql

# One program for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("clicking")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
PATIENCE_S = 240  # a machine with other work to do; alone it takes a quarter of a minute


@pytest.fixture(scope="module")
def clicked(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, Any]:
    """Run both databases side by side."""
    urls = {"a database file": "", "PostgreSQL": postgresql()}
    folders = {name: tmp_path_factory.mktemp("clicks") for name in DATABASES}
    empty_book(folders["a database file"])
    running = {}
    for name in DATABASES:
        own = os.environ | {"BREEDER_DATA": str(folders[name]), "BREEDER_DATABASE": urls[name]}
        words = [sys.executable, "-m", "tests.racing.clicks"]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        running[name] = subprocess.Popen(words, cwd=ROOT, env=own, text=True, **pipes)  # type: ignore[call-overload]
    found = {}
    for name, process in running.items():
        out, wrong = process.communicate(timeout=PATIENCE_S)
        assert process.returncode == 0, wrong
        found[name] = json.loads(out)
    return found


@pytest.mark.parametrize("database", DATABASES)
def test_without_a_second_look_the_second_click_is_refused(clicked: dict[str, Any], database: str) -> None:
    pairs = [pair for pair in clicked[database]["pairs"] if not pair["again"]]
    refused = {pair["form"] for pair in pairs if any(answer["status"] == 422 for answer in pair["answers"])}
    # Their forms look into the book before the action does; an action looks at the token again after its lock.
    assert refused == {"order", "species"}


@pytest.mark.parametrize("database", DATABASES)
@pytest.mark.parametrize("moment", MOMENTS)
def test_the_second_click_gets_the_answer_of_the_first(clicked: dict[str, Any], database: str, moment: str) -> None:
    pairs = [pair for pair in clicked[database]["pairs"] if pair["again"] and pair["moment"] == moment]
    assert len({pair["form"] for pair in pairs}) == 5
    for pair in pairs:
        first, second = pair["answers"]
        assert (first["status"], first["refused"]) == (302, []), pair
        assert first == second, pair


@pytest.mark.parametrize("database", DATABASES)
def test_two_clicks_write_once(clicked: dict[str, Any], database: str) -> None:
    """One row for each pair: the control's, those of two clicks at once, and one each of the two other moments."""
    pairs = 1 + ROUNDS + 2
    assert clicked[database]["written"] == {"order": pairs, "species": pairs, "supply": pairs, "taken back": pairs}


def sent(token: str) -> HttpRequest:
    request = RequestFactory().post("/", {"token": token})
    request._messages = CookieStorage(request)
    return request


@pytest.mark.django_db
@pytest.mark.parametrize("status", [404, 422, 500, 503])
def test_whatever_refuses_a_form_that_was_done_is_answered_with_its_first_answer(status: int) -> None:
    token = form_tokens.new_token()
    form_tokens.spend(token, "/orders/7/")
    layer = middleware.RepeatedAnswer(lambda request: HttpResponse(status=status))
    assert layer(sent(token))["Location"] == "/orders/7/"
    assert layer(sent(form_tokens.new_token())).status_code == status


@pytest.mark.django_db
def test_a_fault_in_a_form_that_was_done_is_answered_with_its_first_answer() -> None:
    token = form_tokens.new_token()
    form_tokens.spend(token, "/orders/7/")
    layer = middleware.RepeatedAnswer(lambda request: HttpResponse())
    answer = layer.process_exception(sent(token), PermissionDenied("the row is gone"))
    assert answer is not None
    assert answer["Location"] == "/orders/7/"
    assert layer.process_exception(sent(form_tokens.new_token()), PermissionDenied()) is None


def test_a_book_that_cannot_be_read_keeps_the_refusal_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(request: HttpRequest) -> None:
        raise DatabaseError("disk I/O error")

    monkeypatch.setattr(middleware, "look_at", broken)
    layer = middleware.RepeatedAnswer(lambda request: HttpResponse(status=422))
    assert layer(sent("x")).status_code == 422
