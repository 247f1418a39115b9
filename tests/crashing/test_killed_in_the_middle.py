"""Killed with kill -9 at every write: what was acknowledged is there, nothing is half there, the ledger replays."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.servers import postgresql

# One demo, arena or wreck for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("crashing")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
PATIENCE_S = 240  # a machine with other work to do; alone it takes a few seconds


def begin(folder: Path, url: str) -> subprocess.Popen[str]:
    surroundings = os.environ | {"BREEDER_DATA": str(folder), "BREEDER_DATABASE": url}
    return subprocess.Popen(
        [sys.executable, "-m", "tests.crashing.wreck"],
        cwd=ROOT,
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture(scope="module")
def wrecks(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, Any]:
    """Run both databases side by side."""
    urls = {"a database file": "", "PostgreSQL": postgresql()}
    folders = {name: tmp_path_factory.mktemp("wreck") for name in DATABASES}
    empty_book(folders["a database file"])
    running = {name: begin(folders[name], urls[name]) for name in DATABASES}
    found = {}
    for name, wreck in running.items():
        out, wrong = wreck.communicate(timeout=PATIENCE_S)
        assert wreck.returncode == 0, wrong
        found[name] = json.loads(out)
    return found


@pytest.mark.parametrize("database", DATABASES)
def test_without_transactions_a_kill_leaves_halves_behind(wrecks: dict[str, Any], database: str) -> None:
    control = wrecks[database]["control"]["move"]
    assert control["halves"] > 0
    assert control["unproven"] > 0


@pytest.mark.parametrize("database", DATABASES)
@pytest.mark.parametrize("act", ["agree", "move", "split", "correct"])
def test_an_action_killed_before_any_of_its_writes_leaves_nothing(
    wrecks: dict[str, Any], database: str, act: str
) -> None:
    found = wrecks[database]["whole"][act]
    assert found["kills"] >= 4
    assert found["halves"] == 0
    assert found["came through"]


@pytest.mark.parametrize("database", DATABASES)
def test_orders_that_were_acknowledged_before_the_kill_are_there_and_whole(
    wrecks: dict[str, Any], database: str
) -> None:
    assert wrecks[database]["hands"] == {
        "acknowledged": 12,
        "missing": [],
        "empty": 0,
        "promised by order": 1.0,
        "free": 2000,
    }


@pytest.mark.parametrize("database", DATABASES)
def test_the_ledger_replays_after_all_kills(wrecks: dict[str, Any], database: str) -> None:
    assert wrecks[database]["differences"] == []
