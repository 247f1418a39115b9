"""Four people save one order at once: one of them is written, three are told. The control loses three edits."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.racing.edits_facts import HANDS, ORDERS
from tests.servers import postgresql

# One program for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("editing")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
PATIENCE_S = 240  # a machine with other work to do; alone it takes a few seconds


@pytest.fixture(scope="module")
def edited(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, Any]:
    """Run both databases side by side."""
    urls = {"a database file": "", "PostgreSQL": postgresql()}
    folders = {name: tmp_path_factory.mktemp("edits") for name in DATABASES}
    empty_book(folders["a database file"])
    running = {}
    for name in DATABASES:
        own = os.environ | {"BREEDER_DATA": str(folders[name]), "BREEDER_DATABASE": urls[name]}
        words = [sys.executable, "-m", "tests.racing.edits"]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        running[name] = subprocess.Popen(words, cwd=ROOT, env=own, text=True, **pipes)  # type: ignore[call-overload]
    found = {}
    for name, process in running.items():
        out, wrong = process.communicate(timeout=PATIENCE_S)
        assert process.returncode == 0, wrong
        found[name] = json.loads(out)
    return found


@pytest.mark.parametrize("database", DATABASES)
def test_compared_before_the_lock_all_are_accepted_and_three_edits_are_lost(
    edited: dict[str, Any], database: str
) -> None:
    for race in edited[database]["before the lock"]:
        assert (race["accepted"], race["logged"], race["told"]) == (HANDS, HANDS, 0)


@pytest.mark.parametrize("database", DATABASES)
def test_compared_after_the_lock_one_is_written_and_the_others_are_told(edited: dict[str, Any], database: str) -> None:
    races = edited[database]["after the lock"]
    assert len(races) == ORDERS
    for race in races:
        assert (race["accepted"], race["logged"], race["told"]) == (1, 1, HANDS - 1)
        assert race["kept"] in range(1, HANDS + 1)
