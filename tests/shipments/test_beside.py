"""The board is computed in the background: known cells show at once, the rest follows, and none is lost."""

import threading
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from breeder.core.transit import box_trials
from breeder.core.transit.result_cache import ResultCache, cache_keys
from breeder.management import server, warm_calendar
from breeder.management.warm_calendar import BoardWarmer
from breeder.shipments import board as boards
from breeder.shipments import board_page, forecast_cache
from breeder.shipments.background import BoardWorker
from breeder.shipments.models import Parcel
from tests.core.transit.test_box_trials import asked, hours
from tests.shipments import boxes
from tests.shipments.test_board import MONDAY, MORNING


@pytest.fixture
def two(db: None) -> list[Parcel]:
    boxes.household()
    boxes.bare()
    parcels = [boxes.parcel(MONDAY) for _ in range(2)]
    boxes.real_hours(MONDAY, issued_at=MORNING - timedelta(hours=2), days=14)
    return parcels


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Hold the worker until the gate is opened; the board begins with an empty memory."""
    opened, whole = threading.Event(), box_trials.try_boxes

    def held(*args: Any, **kwargs: Any) -> Any:
        opened.wait(20)
        return whole(*args, **kwargs)

    monkeypatch.setattr(box_trials, "try_boxes", held)
    monkeypatch.setattr(boards, "BOARD_WORKER", BoardWorker(ResultCache()))
    yield opened
    opened.set()
    boards.BOARD_WORKER.worker.shutdown()


def test_an_unfinished_board_says_how_far_it_is_and_asks_again(
    two: list[Parcel], keeper_client: Client, gate: threading.Event, settings: Any
) -> None:
    settings.BOARD_PATIENCE_S = 0.0
    with time_machine.travel(MORNING, tick=False):
        early = keeper_client.get(reverse("shipments:board") + "?by=cheapest").content.decode()
        gate.set()
        settings.BOARD_PATIENCE_S = 30.0
        late = keeper_client.get(reverse("shipments:board") + "?by=cheapest").content.decode()
    assert "0 of 2 boxes are worked out, the rest in a moment." in early
    assert f"Box {two[0].number}" in early
    assert 'hx-get="/packing/board/?by=cheapest"' in early
    assert '<a class="button" href="/packing/board/?by=cheapest">Look again</a>' in early
    assert '<noscript><meta http-equiv="refresh"' in early
    assert "disabled" in early
    assert "2 of 2 boxes find a day" in late
    assert "Look again" not in late
    assert "hx-get" not in late


def test_places_that_could_not_be_read_in_time_are_read_by_the_next_pages(
    two: list[Parcel], keeper_client: Client, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        forecast_cache, "READ_IN_ANY_CASE", 1
    )  # home is read by the first page, the address by the second
    settings.BOARD_PATIENCE_S = -1.0
    with time_machine.travel(MORNING, tick=False):
        early = boards.build_board(boxes.household(), MORNING, until=0.0)
        boards.build_board(boxes.household(), MORNING, until=0.0)
        late = boards.build_board(boxes.household(), MORNING)
    assert early.open_rows == 2
    assert (len(early.asked), len(forecast_cache.PLACE_CACHE.reads), late.open_rows) == (0, 2, 0)


def test_a_long_board_has_pages_and_one_plan(
    two: list[Parcel], keeper_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(board_page, "ROWS_A_PAGE", 1)
    with time_machine.travel(MORNING, tick=False):
        pages = [keeper_client.get(reverse("shipments:board") + f"?page={n}").content.decode() for n in (1, 2)]
    for page, here, there in zip(pages, two, reversed(two), strict=True):
        assert f"Box {here.number}</a> to" in page
        assert f"Box {there.number}</a> to" not in page
        assert all(f'name="choose" value="{box.number}:' in page for box in two)
    assert "Boxes 1 to 1 of 2, by promised date" in pages[0]


def test_what_was_warmed_is_whole_at_once(two: list[Parcel], keeper_client: Client, settings: Any) -> None:
    settings.BOARD_PATIENCE_S = 0.0
    with time_machine.travel(MORNING, tick=False):
        warm_calendar.warm_board()
        page = keeper_client.get(reverse("shipments:board")).content.decode()
    assert "2 of 2 boxes find a day" in page


def test_an_hour_that_passes_or_another_box_changes_nothing_of_what_was_worked_out(two: list[Parcel]) -> None:
    with time_machine.travel(MORNING, tick=False):
        first = boards.build_board(boxes.household(), MORNING)
    later = MORNING + timedelta(hours=3)
    boxes.parcel(MONDAY)
    with time_machine.travel(later, tick=False):
        second = boards.build_board(boxes.household(), later)
    before, after = ({key: cache_keys([row], 48)[0] for key, row in each.asked.items()} for each in (first, second))
    assert before.items() <= after.items()


def test_a_newer_forecast_is_reckoned_anew(two: list[Parcel]) -> None:
    with time_machine.travel(MORNING, tick=False):
        before = boards.build_board(boxes.household(), MORNING)
        boxes.real_hours(MONDAY, issued_at=MORNING - timedelta(hours=1), days=14, shift_c=30.0)
        after = boards.build_board(boxes.household(), MORNING)
    assert before.rows[0].cells[0].shown.decided == "go"
    assert after.rows[0].cells[0].shown.decided == "no-go"


def test_of_a_board_that_is_half_known_the_known_half_is_given() -> None:
    desk, rows = (
        BoardWorker(ResultCache()),
        [asked(MONDAY, hours(MONDAY, "LGA"), hours(MONDAY, "JFK", shift_c=n)) for n in (0, 1)],
    )
    known = desk.cells(rows[:1], 48)
    again = desk.cells(rows, 48, until=0.0)
    assert again[0] == known[0]
    assert [cell is None for cell in desk.cells(rows, 48)] == [False, False]


def test_the_site_and_the_demo_are_warmed(monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[Any] = []
    monkeypatch.setattr("waitress.serve", lambda *args, **kwargs: None)
    monkeypatch.setattr(BoardWarmer, "start", lambda self: started.append(self))
    server.serve_site("127.0.0.1", 1, str)
    assert len(started) == 1


def test_warming_goes_on_after_trouble_and_comes_when_poked(monkeypatch: pytest.MonkeyPatch) -> None:
    rounds: list[int] = []
    keeper = BoardWarmer()

    def broken() -> None:
        rounds.append(1)
        keeper.poke() if len(rounds) < 3 else keeper.stop()
        raise ValueError("trouble")

    monkeypatch.setattr(warm_calendar, "warm_board", broken)
    monkeypatch.setattr(warm_calendar.connections, "close_all", lambda: None)
    keeper.start()
    keeper.join(10)
    assert len(rounds) == 3
