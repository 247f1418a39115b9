"""The command and the site's thread never fetch forecasts at the same time; which places they fetch."""

import json
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from breeder.base.queries import household
from breeder.management import forecasting, server
from breeder.management.forecasting import ForecastThread
from breeder.management.warm_calendar import BoardWarmer
from breeder.shipments.actions import bench as packing
from breeder.species.models import Line
from breeder.weather import leases, refresh
from tests import build
from tests.shipments import boxes
from tests.shipments.test_sending import MORNING
from tests.weather import rogue
from tests.weather.services import shapes

WAIT_S = 60.0  # a busy machine needs some seconds to start a process
NOW = datetime(2026, 3, 7, 10, 20, tzinfo=UTC)


def test_of_several_processes_only_one_asks_at_a_time(tmp_path: Path, empty_book: Callable[[Path], None]) -> None:
    """The control without the lease does ask at the same time, or the race would prove nothing."""
    empty_book(tmp_path)
    surroundings = os.environ | {"BREEDER_DATA": str(tmp_path)}
    surroundings.pop("BREEDER_DATABASE", None)
    done = subprocess.run(
        [sys.executable, "-m", "tests.weather.one_runner"],
        capture_output=True, text=True, env=surroundings, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["with"] == {"most": 1, "reports": ["brought 2", "was running", "was running", "was running"]}
    assert result["without"]["most"] > 1


class Counter:
    """A service that answers on command, and counts the callers waiting at the same time."""

    def __init__(self) -> None:
        self.now = self.most = 0
        self.lock, self.asked, self.answers = threading.Lock(), threading.Semaphore(0), threading.Event()

    def __call__(self, caller: rogue.Caller) -> None:
        with self.lock:
            self.now += 1
            self.most = max(self.most, self.now)
        self.asked.release()
        self.answers.wait(WAIT_S)
        with self.lock:
            self.now -= 1
        rogue.says(shapes.series())(caller)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> Path:
    folder = tmp_path_factory.mktemp("book")
    empty_book(folder)
    process_output(runner(folder, "prepare", "-"))
    return folder


@pytest.fixture
def book(prepared: Path, tmp_path: Path) -> Path:
    return shutil.copytree(prepared, tmp_path / "book")


def runner(folder: Path, *words: str) -> subprocess.Popen[str]:
    surroundings = os.environ | {"BREEDER_DATA": str(folder)}
    surroundings.pop("BREEDER_DATABASE", None)
    return subprocess.Popen(
        [sys.executable, "-m", "tests.weather.two_runners", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=surroundings,
    )  # fmt: skip


def process_output(process: subprocess.Popen[str]) -> str:
    output, failed = process.communicate(timeout=WAIT_S)
    assert process.returncode == 0, failed
    return output.strip()


BROUGHT = "Fresh hours for 1 place; 0 were fresh still."
OTHER = "Forecasts are being brought by another run already."


@pytest.mark.parametrize("order", [("command", "thread"), ("thread", "command")], ids=" then ".join)
def test_the_command_and_the_thread_of_the_site_never_run_at_once(book: Path, order: tuple[str, str]) -> None:
    """While the first waits for its answer, the second starts in its own process and leaves the work to the first."""
    service = Counter()
    with rogue.rogue(service) as server:
        first = runner(book, order[0], server.home)
        assert service.asked.acquire(timeout=WAIT_S)
        assert process_output(runner(book, order[1], server.home)) == OTHER
        service.answers.set()
        assert process_output(first) == BROUGHT
    assert (service.most, len(server.asked)) == (1, 1)


def test_without_the_lease_the_command_and_the_thread_do_run_at_once(book: Path) -> None:
    """The control: without the lease, both of the test above do run at once."""
    service = Counter()
    with rogue.rogue(service) as server:
        both = [runner(book, what, server.home, "no-lease") for what in ("command", "thread")]
        for _ in both:
            assert service.asked.acquire(timeout=WAIT_S)
        service.answers.set()
        for process in both:
            process_output(process)
    assert service.most == 2


@pytest.mark.django_db
def test_a_lease_is_held_by_one_ends_by_itself_and_is_only_given_back_by_its_holder() -> None:
    first = leases.take("x", NOW)
    assert first is not None
    assert leases.take("x", NOW) is None
    assert leases.take("y", NOW) is not None
    later = NOW + leases.HELD_FOR
    assert leases.renew("x", first, NOW + timedelta(minutes=1))
    assert leases.take("x", later) is None
    second = leases.take("x", later + timedelta(minutes=1))
    assert second is not None
    assert not leases.renew("x", first, later)
    leases.give_back("x", first, later)
    assert leases.is_held("x", later + timedelta(minutes=2))
    leases.give_back("x", second, later)
    assert leases.take("x", later) is not None


@pytest.fixture
def two_boxes(db: None) -> None:
    boxes.household()
    boxes.part(boxes.bare(), "Card box", on_shelf=3)
    boxes.service()
    line: Line = build.line("Slate", harvest_share=None)
    boxes.stocked(line, at=MORNING)
    for _ in range(2):
        order = boxes.order((line, 1), at=MORNING - timedelta(days=1))
        packing.plan_parcel(order.number, by=None)


@pytest.mark.usefixtures("two_boxes")
def test_home_and_the_ends_of_waiting_boxes_are_brought_each_once() -> None:
    places = list(forecasting.places_needed())
    assert len(places) == len({place.pk for place in places}) == 2
    home = household()
    assert (places[0].latitude, places[0].longitude) == (home.latitude, home.longitude)


@pytest.mark.django_db
def test_a_book_without_a_place_of_its_own_brings_nothing() -> None:
    assert list(forecasting.places_needed()) == []


@pytest.mark.django_db
def test_the_thread_rests_until_a_service_is_chosen_and_outlives_a_failure(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, closed = [], []
    # The thread closes its connections; here the connection is the test's and stays open.
    monkeypatch.setattr(forecasting.connections, "close_all", lambda: closed.append(1))

    def bring() -> refresh.RefreshReport:
        asked.append(1)
        raise ValueError("a fault")

    beside = ForecastThread(bring)
    beside.once()
    assert asked == []
    setting = household()
    setting.weather_service = "met"
    setting.save()
    beside.once()
    assert asked == [1]
    assert closed == [1, 1]
    assert "tried again in about an hour" in caplog.text


@pytest.mark.django_db
def test_the_thread_runs_now_and_then_and_can_be_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    rounds: list[int] = []
    beside = ForecastThread(first_after_s=0.0, clock=lambda: NOW)

    def once() -> None:
        rounds.append(1)
        if len(rounds) == 3:
            beside.stop()

    monkeypatch.setattr(beside, "once", once)
    monkeypatch.setattr(forecasting, "next_wait_s", lambda now, dice: 0.0)
    beside.start()
    beside.join(5)
    assert len(rounds) == 3


def test_the_site_brings_forecasts_and_the_demo_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[Any] = []
    monkeypatch.setattr("waitress.serve", lambda *args, **kwargs: None)
    monkeypatch.setattr(ForecastThread, "start", lambda self: started.append(self))
    monkeypatch.setattr(BoardWarmer, "start", lambda self: None)
    server.serve_site("127.0.0.1", 1, str)
    assert started == []
    server.serve_site("127.0.0.1", 1, str, with_forecasts=True)
    assert len(started) == 1


@pytest.mark.django_db
def test_the_command_says_what_it_did(capsys: pytest.CaptureFixture[str], keeper_client: Client) -> None:
    call_command("refresh_forecasts", "--now")
    assert "No weather service is chosen" in capsys.readouterr().out
