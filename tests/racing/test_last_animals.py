"""Real processes want the same animals, on a database file and on PostgreSQL; the control without the lock first."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.racing.arena_facts import EACH, HANDS, LAST, ROUNDS, STEPS, TURNS
from tests.servers import postgresql

# One demo, arena or wreck for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("racing")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
PATIENCE_S = 240  # a machine with other work to do; alone it takes a few seconds


def begin(folder: Path, url: str) -> subprocess.Popen[str]:
    """Start one arena in a process of its own."""
    surroundings = os.environ | {"BREEDER_DATA": str(folder), "BREEDER_DATABASE": url}
    return subprocess.Popen(
        [sys.executable, "-m", "tests.racing.arena"],
        cwd=ROOT,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture(scope="module")
def arenas(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, Any]:
    """Run both databases side by side."""
    urls = {"a database file": "", "PostgreSQL": postgresql()}
    folders = {name: tmp_path_factory.mktemp("race") for name in DATABASES}
    empty_book(folders["a database file"])
    running = {name: begin(folders[name], urls[name]) for name in DATABASES}
    found = {}
    for name, arena in running.items():
        out, wrong = arena.communicate(timeout=PATIENCE_S)
        assert arena.returncode == 0, wrong
        found[name] = json.loads(out)
    return found


@pytest.mark.parametrize("database", DATABASES)
def test_without_the_lock_the_last_animals_are_oversold(arenas: dict[str, Any], database: str) -> None:
    (only,) = arenas[database]["control"]["rounds"]
    assert only["said"] == ["agreed"] * HANDS
    assert only["promised"] == HANDS * EACH > LAST
    assert only["short"] == HANDS * EACH - LAST


@pytest.mark.parametrize("database", DATABASES)
def test_last_animals_are_promised_once(arenas: dict[str, Any], database: str) -> None:
    rounds = arenas[database]["turn"]["rounds"]
    assert len(rounds) == ROUNDS
    for one in rounds:
        assert (one["promised"], one["free"], one["short"]) == (9, 1, 0)
        refused = [said for said in one["said"] if said != "agreed"]
        assert len(refused) == HANDS - LAST // EACH
        assert all("Only 1 can be spared" in said and "9 promised" in said for said in refused)
    assert arenas[database]["turn"]["differences"] == 0


@pytest.mark.parametrize("database", DATABASES)
def test_a_busy_day_of_many_hands_leaves_no_line_short_and_the_ledger_whole(
    arenas: dict[str, Any], database: str
) -> None:
    day = arenas[database]["busy"]
    assert [said for said in day["said"] if said.startswith("failed")] == []
    assert len(day["said"]) == HANDS * STEPS
    assert day["said"].count("agreed") > 0
    assert day["short"] == [0, 0]
    assert day["differences"] == []
    assert day["numbers"] == list(range(1, len(day["numbers"]) + 1))
    assert day["orders"] == list(range(1, len(day["orders"]) + 1))


def test_without_the_line_somebody_among_many_writers_to_a_file_is_turned_away(arenas: dict[str, Any]) -> None:
    without = arenas["a database file"]["impatient"]["without a line"]
    assert "database is locked" in without["said"]
    assert without["turns"] == without["said"].count("done") < HANDS * TURNS


def test_in_the_line_nobody_is_turned_away_however_short_the_patience_of_the_file(arenas: dict[str, Any]) -> None:
    lined = arenas["a database file"]["impatient"]["in a line"]
    assert lined["said"] == ["done"] * (HANDS * TURNS)
    assert lined["turns"] == HANDS * TURNS
