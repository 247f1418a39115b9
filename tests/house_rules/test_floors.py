"""A room imports only from lower floors; floor 0 knows nothing of Django; every room says what it is for."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

from breeder.management.commands.bench import SUBJECTS
from tests.house_rules import floors

PACKAGE = Path(__file__).resolve().parents[2] / "breeder"
PURE = sorted(path for path in (PACKAGE / "core").rglob("*.py"))


def test_every_room_stands_on_the_map() -> None:
    assert floors.rooms_in(PACKAGE) == set(floors.FLOORS)


def test_no_room_imports_from_a_higher_floor() -> None:
    assert [str(climb) for climb in floors.climbs(PACKAGE)] == []


@pytest.mark.parametrize(
    ("room", "line"),
    [
        ("core", "from breeder.cultures import models"),
        ("species", "def late():\n    import breeder.orders.actions"),
        ("orders", "from ..shipments.models import Kit"),
        ("people", "from breeder import weather"),
        ("core", "from breeder.settings import DEBUG"),
    ],
)
def test_a_planted_climb_is_found(tmp_path: Path, room: str, line: str) -> None:
    package = tmp_path / "breeder"
    (package / room).mkdir(parents=True)
    (package / room / "rules.py").write_text(line + "\n")
    assert [climb.room for climb in floors.climbs(package)] == [room]


def test_a_fall_to_a_lower_floor_is_allowed(tmp_path: Path) -> None:
    package = tmp_path / "breeder"
    (package / "orders").mkdir(parents=True)
    (package / "orders" / "rules.py").write_text("from breeder.cultures import rules\nfrom . import models\n")
    assert floors.climbs(package) == []


def test_a_part_of_the_core_uses_only_the_parts_below_it(tmp_path: Path) -> None:
    package = tmp_path / "breeder"
    (package / "core" / "counting").mkdir(parents=True)
    (package / "core" / "counting" / "count.py").write_text("from ..stock import belief\nfrom ..jsonio import errors\n")
    assert [climb.wants for climb in floors.climbs(package)] == ["core.stock"]


def test_every_part_of_the_core_stands_on_the_map() -> None:
    assert floors.core_parts(PACKAGE) == set(floors.CORE)


def test_the_core_works_without_django_even_indirectly() -> None:
    modules = [".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts) for path in PURE]
    script = (
        "import importlib, sys\n"
        f"[importlib.import_module(name) for name in {modules!r}]\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'django', 'sqlite3', 'urllib3', 'requests'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=PACKAGE.parent, capture_output=True, text=True, check=False
    )
    assert (done.stdout.strip(), done.stderr) == ("[]", "")


@pytest.mark.parametrize("room", [*sorted(floors.FLOORS), *(f"core/{part}" for part in sorted(floors.CORE))])
def test_every_room_says_what_it_is_for(room: str) -> None:
    purpose = ast.get_docstring(ast.parse((PACKAGE / room / "__init__.py").read_text()))
    assert purpose
    assert purpose.endswith(".")


def test_the_app_package_stays_empty() -> None:
    assert (PACKAGE / "__init__.py").read_text() == ""


def test_only_management_commands_import_the_evaluation() -> None:
    files = floors.importers(PACKAGE, "evaluation")
    assert files
    assert {file for file in files if not file.startswith("management/commands/")} == set()


@pytest.mark.parametrize(
    "line",
    [
        "from breeder.evaluation import replay",
        "def late():\n    from .. import evaluation",
        "replay = import_module('breeder.evaluation.replay.figures')",
    ],
)
def test_a_planted_import_of_the_evaluation_is_reported(tmp_path: Path, line: str) -> None:
    package = tmp_path / "breeder"
    (package / "management").mkdir(parents=True)
    (package / "management" / "server.py").write_text(line + "\n")
    assert floors.importers(package, "evaluation") == {"management/server.py"}


@pytest.mark.parametrize("subject", sorted(SUBJECTS))
def test_every_subject_of_the_benchmarks_is_a_module_of_the_evaluation(subject: str) -> None:
    assert SUBJECTS[subject].startswith("breeder.evaluation.benchmarks.")
    assert callable(importlib.import_module(SUBJECTS[subject]).run)
