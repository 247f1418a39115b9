"""The map of rooms and floors, and how to find an import that climbs; used by test_floors.py."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FLOORS = {
    "core": 0,
    "base": 1,
    "species": 2,
    "people": 2,
    "weather": 2,
    "cultures": 3,
    "carriers": 3,
    "orders": 4,
    "shipments": 6,
    "documents": 9,
    "storefront": 9,
    "dashboard": 9,
    "evaluation": 10,
}
# Inside the core, which parts a part may use.
CORE = {
    "jsonio": set(),
    "counting": {"jsonio"},
    "stock": {"counting", "jsonio"},
    "reserve": {"counting", "stock", "jsonio"},
    "thermal": {"jsonio"},
    "transit": {"thermal"},
    "compliance": set(),
}
SERVES_ALL = {"units", "days"}
# What is not a room: Django's own modules, and the commands above everything.
NO_ROOM = {
    "settings", "urls", "wsgi", "apps", "models", "middleware", "migrations", "management", "templatetags", "static",
}  # fmt: skip


@dataclass(frozen=True)
class Climb:
    """One import that goes to a higher floor, or sideways where it may not."""

    file: str
    line: int
    room: str
    wants: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.room} imports {self.wants}"


def rooms_in(package: Path) -> set[str]:
    """Return the names of the folders in the app that are rooms."""
    folders = {path.name for path in package.iterdir() if path.is_dir() and path.name != "__pycache__"}
    return folders - NO_ROOM


def core_parts(package: Path) -> set[str]:
    """Return the names of the folders of the core."""
    return {path.name for path in (package / "core").iterdir() if path.is_dir() and path.name != "__pycache__"}


def _imported(tree: ast.AST, inside: tuple[str, ...]) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) for each import anywhere in the file, lazy ones and relative ones too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            start = ".".join(inside[: len(inside) - node.level + 1]) if node.level else ""
            base = ".".join(part for part in (start, node.module or "") if part)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)


def climbs(package: Path) -> list[Climb]:
    """Return every import of the package's rooms that the map forbids."""
    climbing = set()
    for file in sorted(package.rglob("*.py")):
        inside = file.relative_to(package.parent).with_suffix("").parts[:-1]
        room = inside[1] if len(inside) > 1 else ""
        if room not in FLOORS:
            continue
        for line, name in _imported(ast.parse(file.read_text()), inside):
            parts = name.split(".")
            if parts[0] == package.name and len(parts) > 1 and not _may(inside[1:], parts[1:]):
                wanted = ".".join(parts[1:3]) if parts[1] == "core" else parts[1]
                climbing.add(Climb(str(file.relative_to(package.parent)), line, room, wanted))
    return sorted(climbing, key=str)


def importers(package: Path, room: str) -> set[str]:
    """Return the files outside of a room that import it, also those that name it in a string (`import_module`)."""
    files, target = set(), f"{package.name}.{room}"
    for file in package.rglob("*.py"):
        below = file.relative_to(package)
        if below.parts[0] == room:
            continue
        tree = ast.parse(file.read_text())
        names = [name for _, name in _imported(tree, (package.name, *below.parts[:-1]))]
        names += [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and type(node.value) is str]
        if any(f"{name}.".startswith(f"{target}.") for name in names):
            files.add(below.as_posix())
    return files


def _may(inside: tuple[str, ...], wanted: list[str]) -> bool:
    """Return whether a file in a folder (below the package) may import a dotted name (below the package)."""
    room, target = inside[0], wanted[0]
    if target not in FLOORS:
        return False
    if room == target == "core":
        return _may_in_core(inside[1:], wanted[1:])
    return room == target or FLOORS[target] < FLOORS[room]


def _may_in_core(inside: tuple[str, ...], wanted: list[str]) -> bool:
    if not inside or not wanted:
        return False
    return wanted[0] in {inside[0], *SERVES_ALL} or wanted[0] in CORE.get(inside[0], set())
