"""Four people save one page at once, each another field: one is written, three are told. The control loses three."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.racing.edits_facts import HANDS
from tests.servers import postgresql

# One program for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("editing people")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
PATIENCE_S = 240  # a machine with other work to do; alone it takes a few seconds


@pytest.fixture(scope="module")
def edited(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, Any]:
    """Run the race on both databases."""
    races = {}
    for name in DATABASES:
        folder = tmp_path_factory.mktemp("person")
        if name == "a database file":
            empty_book(folder)
        own = {"BREEDER_DATA": str(folder), "BREEDER_DATABASE": postgresql() if name == "PostgreSQL" else ""}
        words = [sys.executable, "-m", "tests.racing.person_edits"]
        done = subprocess.run(
            words, cwd=ROOT, env=os.environ | own, text=True, capture_output=True, timeout=PATIENCE_S, check=False
        )
        assert done.returncode == 0, done.stderr
        races[name] = json.loads(done.stdout)
    return races


@pytest.mark.parametrize("database", DATABASES)
def test_compared_before_the_lock_all_are_accepted_and_three_edits_are_lost(
    edited: dict[str, Any], database: str
) -> None:
    for race in edited[database]["before the lock"]:
        assert race == {"accepted": HANDS, "told": 0, "kept": 1}


@pytest.mark.parametrize("database", DATABASES)
def test_compared_after_the_lock_one_is_written_and_the_others_are_told(edited: dict[str, Any], database: str) -> None:
    for race in edited[database]["after the lock"]:
        assert race == {"accepted": 1, "told": HANDS - 1, "kept": 1}
