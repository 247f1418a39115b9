"""A room imports only from lower floors; floor 0 knows nothing of Django; every room says what it is for."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.house_rules import floors

PACKAGE = Path(__file__).resolve().parents[2] / "breeder"
PURE = sorted(room for room, floor in floors.FLOORS.items() if floor == 0)


def test_every_room_stands_on_the_map() -> None:
    assert floors.rooms_in(PACKAGE) == set(floors.FLOORS)


def test_no_room_imports_from_a_higher_floor() -> None:
    assert [str(climb) for climb in floors.climbs(PACKAGE)] == []


@pytest.mark.parametrize(
    ("room", "line"),
    [
        ("census", "from breeder.cultures import models"),
        ("taxa", "def late():\n    import breeder.orders.actions"),
        ("orders", "from ..packing.models import Kit"),
        ("people", "from breeder import weather"),
        ("heat", "from breeder.settings import DEBUG"),
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


@pytest.mark.parametrize("room", PURE)
def test_floor_0_works_without_django_even_indirectly(room: str) -> None:
    modules = [
        ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
        for path in sorted((PACKAGE / room).rglob("*.py"))
    ]
    script = (
        "import importlib, sys\n"
        f"[importlib.import_module(name) for name in {modules!r}]\n"
        "print(sorted({name.split('.')[0] for name in sys.modules} & {'django', 'sqlite3', 'urllib3', 'requests'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=PACKAGE.parent, capture_output=True, text=True, check=False
    )
    assert (done.stdout.strip(), done.stderr) == ("[]", "")


@pytest.mark.parametrize("room", sorted(floors.FLOORS))
def test_every_room_says_what_it_is_for(room: str) -> None:
    said = ast.get_docstring(ast.parse((PACKAGE / room / "__init__.py").read_text()))
    assert said
    assert said.endswith(".")


def test_the_app_package_stays_empty() -> None:
    assert (PACKAGE / "__init__.py").read_text() == ""
