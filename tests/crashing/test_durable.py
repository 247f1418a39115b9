"""What was acknowledged is on the disk: fails when `synchronous` or the write-ahead log is changed.

SQLite's own pages say what they mean (sqlite.org/pragma.html#pragma_synchronous): with a write-ahead log and FULL, each
commit waits until the log is on the disk; with NORMAL it does not, and a commit may be gone after the power was.
"""

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from breeder.base.environment import database_from
from tests.crashing.durable_facts import COMMITS
from tests.servers import postgresql

# Nothing of the session's book is touched, but its tables are copied, and so they must be there.
pytestmark = pytest.mark.django_db

ROOT = Path(__file__).resolve().parents[2]
AS_KEPT = {"journal_mode": "wal", "synchronous": "full"}


@pytest.fixture
def probe(tmp_path: Path, empty_book: Callable[[Path], None]) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Return what runs the program on a book file of its own."""
    if connection.vendor != "sqlite":
        pytest.skip("the book file of this program is copied from a session on a file")
    empty_book(tmp_path)

    def run(*changes: str, under: tuple[str, ...] = ()) -> subprocess.CompletedProcess[str]:
        done = subprocess.run(
            [*under, sys.executable, "-m", "tests.crashing.durable", *changes],
            cwd=ROOT,
            env=os.environ | {"BREEDER_DATA": str(tmp_path), "BREEDER_DATABASE": ""},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return done

    return run


def found_by(done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    return dict(json.loads(done.stdout.splitlines()[0]))


def test_every_connection_writes_ahead_and_waits_for_the_disk(probe: Callable[..., Any]) -> None:
    found = found_by(probe())
    assert (found["first"], found["in a thread"], found["opened again"]) == (AS_KEPT, AS_KEPT, AS_KEPT)
    assert found["beside a reader"] == "written"


@pytest.mark.parametrize(
    ("change", "shown"),
    [
        ("synchronous=NORMAL", "synchronous"),
        ("synchronous=OFF", "synchronous"),
        ("journal_mode=DELETE", "journal_mode"),
    ],
)
def test_a_changed_setting_is_found(probe: Callable[..., Any], change: str, shown: str) -> None:
    """The control: the very program of the test above, with one setting changed."""
    found = found_by(probe(change))
    assert found["first"] != AS_KEPT
    assert found["first"][shown] == change.partition("=")[2].lower()
    assert (found["beside a reader"] == "written") is (shown == "synchronous")


def waits_for_the_log(probe: Callable[..., Any], trace: Path, *changes: str) -> int:
    """Return how often the commits of the program waited until the write-ahead log was on the disk, as Linux saw it."""
    under = ("strace", "-f", "-y", "-e", "trace=fsync,fdatasync,write", "-s", "16", "-o", str(trace))
    probe(*changes, under=under)
    lines = trace.read_text().splitlines()
    begins, ends = (next(n for n, line in enumerate(lines) if f'"{word}\\n"' in line) for word in ("commits", "done"))
    return sum(bool(re.search(r"f(?:data)?sync\(\d+<[^>]*-wal>", line)) for line in lines[begins:ends])


@pytest.fixture
def traced() -> None:
    if not shutil.which("strace") or subprocess.run(["strace", "true"], capture_output=True, check=False).returncode:
        pytest.skip("nobody may be watched here with strace; what connections say of themselves is asked above")


@pytest.mark.usefixtures("traced")
def test_each_commit_waits_until_its_log_is_on_the_disk(probe: Callable[..., Any], tmp_path: Path) -> None:
    assert waits_for_the_log(probe, tmp_path / "kept") >= COMMITS
    assert waits_for_the_log(probe, tmp_path / "changed", "synchronous=NORMAL") < COMMITS / 2


def test_a_server_is_asked_for_nothing_less() -> None:
    """PostgreSQL's settings (chapter 20.5, write-ahead log) as the book connects: its own defaults, none turned off."""
    import psycopg

    values = database_from(postgresql(), ROOT)
    assert values["OPTIONS"].keys() <= {"host"}
    with psycopg.connect(host=values["HOST"], user=values["USER"], dbname=values["NAME"]) as server:
        asked = ("fsync", "synchronous_commit", "full_page_writes")
        assert [server.execute(f"SHOW {name}").fetchone()[0] for name in asked] == ["on"] * 3  # type: ignore[index]
