"""Backup, restore, migrate and refresh, killed at their writes: each kill names the write that it hit.

The older backup stays whole, a restore leaves nothing or all, tables fit the migrations that are noted as applied, and
hours that were brought are noted as brought. The controls, in place or without transactions, leave halves.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.servers import postgresql

# One program after another for the whole file, whichever processor it runs on.
pytestmark = pytest.mark.xdist_group("killing commands")

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("a database file", "PostgreSQL")
# The program, whether it is its control, and whether it begins with a book that has its tables.
RUNS = (
    ("backup", "", True),
    ("restore", "", True),
    ("restore", "control", True),
    ("migrate", "", False),
    ("migrate", "control", False),
    ("refresh", "", True),
)
PATIENCE_S = 300  # a machine with other work to do; alone each takes some ten seconds


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory, empty_book: Callable[[Path], None]) -> dict[str, dict[str, Any]]:
    """Run one program after another, each on both databases side by side."""
    home = tmp_path_factory.mktemp("killed")
    found: dict[str, dict[str, Any]] = {name: {} for name in DATABASES}
    for act, control, has_tables in RUNS:
        running = {}
        for name in DATABASES:
            folder = home / f"{act} {control} {name}"
            folder.mkdir()
            if has_tables:
                empty_book(folder)
            url = postgresql() if name == "PostgreSQL" else ""
            running[name] = begin(folder, url, act, str(home / f"{name}.zip"), control)
        for name, process in running.items():
            out, wrong = process.communicate(timeout=PATIENCE_S)
            assert process.returncode == 0, wrong
            found[name].setdefault(act, {}).update(json.loads(out))
    return found


def begin(folder: Path, url: str, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.crashing.commands", *(word for word in words if word)],
        cwd=ROOT,
        env=os.environ | {"BREEDER_DATA": str(folder), "BREEDER_DATABASE": url},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def hit(kills: list[Any]) -> set[str]:
    """Return the names of the writes that were hit."""
    return {name for name, _ in kills}


@pytest.mark.parametrize("database", DATABASES)
def test_a_killed_backup_leaves_the_older_one_or_a_whole_new_one(killed: dict[str, Any], database: str) -> None:
    found = killed[database]["backup"]
    parts = {"pack book.jsonl", "pack photos/tub.jpg", "pack about.json"}
    assert parts | {"fsync", f"replace {database}.zip"} <= hit(found["kills"])
    for name, left in found["kills"]:
        assert left["sound"], name
        assert left["part"] > 0 or not left["older"], name  # the unfinished one is there, or has its name by now
    assert [left["older"] for _, left in found["kills"]].count(False) == 1
    assert found["in the end"]
    assert not found["left over"]


@pytest.mark.parametrize("database", DATABASES)
def test_a_backup_that_is_written_in_place_is_lost_at_any_kill(killed: dict[str, Any], database: str) -> None:
    control = killed[database]["backup"]["control"]
    assert "pack photos/tub.jpg" in hit(control)
    assert not any(left["sound"] or left["older"] for _, left in control)


@pytest.mark.parametrize("database", DATABASES)
def test_a_killed_restore_leaves_an_empty_book_and_the_next_one_fills_it(killed: dict[str, Any], database: str) -> None:
    found = killed[database]["restore"]
    names = hit(found["kills"])
    assert {"write tub.jpg", "COMMIT"} <= names
    assert sum(name.startswith("INSERT breeder_") for name in names) >= 4
    assert {left["rows"] for _, left in found["kills"]} == {0}
    halves = [left["photo"] for name, left in found["kills"] if name == "write tub.jpg"]
    assert 0 < halves[0] < found["kills"][-1][1]["photo"]
    assert found["whole"] == {"rows": found["wanted"], "photo": True, "differences": 0}


@pytest.mark.parametrize("database", DATABASES)
def test_a_restore_without_a_transaction_leaves_half_a_book(killed: dict[str, Any], database: str) -> None:
    ((name, left),) = killed[database]["restore"]["control"]
    assert name == "INSERT breeder_entry"
    assert 0 < left["rows"] < killed[database]["restore"]["wanted"]


@pytest.mark.parametrize("database", DATABASES)
def test_after_killed_migrations_the_tables_are_what_is_noted_and_the_next_run_finishes(
    killed: dict[str, Any], database: str
) -> None:
    found = killed[database]["migrate"]
    names = hit(found["kills"])
    assert {"COMMIT", "after COMMIT", "INSERT django_migrations"} <= names
    assert any(name.startswith(("ALTER breeder_", "CREATE breeder_", "DROP breeder_")) for name in names)
    assert len(found["kills"]) >= 8
    assert [left for _, left in found["kills"] if left] == []
    assert (found["fits"], found["entries"], found["guarded"]) == ([], 1, True)


@pytest.mark.parametrize("database", DATABASES)
def test_a_migration_without_a_transaction_leaves_tables_that_are_noted_nowhere(
    killed: dict[str, Any], database: str
) -> None:
    ((name, left),) = killed[database]["migrate"]["control"]
    assert name == "ALTER breeder_culture"
    assert left != []


@pytest.mark.parametrize("database", DATABASES)
def test_killed_refreshes_leave_hours_with_their_note_and_the_next_run_waits_only_for_the_lease(
    killed: dict[str, Any], database: str
) -> None:
    found = killed[database]["refresh"]
    assert {"INSERT breeder_lease", "INSERT breeder_forecast", "INSERT breeder_fetch", "COMMIT"} <= hit(found["kills"])
    assert len(found["kills"]) >= 12
    assert [name for name, left in found["kills"] if left["halves"]] == []
    assert found["whole"]["halves"] == 0
    assert found["whole"]["kept"] >= 2
    assert found["whole"]["waited for the dead"]


@pytest.mark.parametrize("database", DATABASES)
def test_a_refresh_without_a_transaction_leaves_hours_without_their_note(killed: dict[str, Any], database: str) -> None:
    ((name, left),) = killed[database]["refresh"]["control"]
    assert name == "UPDATE breeder_fetch"
    assert left["halves"] > 0
