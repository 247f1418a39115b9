"""The map of rooms and floors, and how to find an import that climbs; used by test_floors.py."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FLOORS = {
    "core": 0,
    "contract": 0,
    "heat": 0,
    "census": 0,
    "reserve": 0,
    "house": 1,
    "pages": 1,
    "taxa": 2,
    "people": 2,
    "weather": 2,
    "cultures": 3,
    "carriers": 3,
    "orders": 4,
    "packing": 5,
    "dispatch": 6,
    "paperwork": 8,
    "forsale": 8,
    "today": 8,
}
# On one floor a room may use only these neighbours.
NEIGHBOURS = {
    "core": {"contract", "heat"},
    "heat": {"contract"},
    "census": {"contract"},
    "reserve": {"contract", "census"},
    "pages": {"house"},
    "forsale": set(),
}
# Django's own cupboards, which sit above all rooms.
CUPBOARDS = {
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
    return folders - CUPBOARDS


def _imported(tree: ast.AST, inside: tuple[str, ...]) -> Iterator[tuple[int, str]]:
    """Yield (line, dotted name) for each import anywhere in the file, lazy ones and relative ones too."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            start = ".".join(inside[: len(inside) - node.level + 1]) if node.level else ""
            base = ".".join(part for part in (start, node.module or "") if part)
            yield node.lineno, base
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)


def climbs(package: Path) -> list[Climb]:
    """Return every import of the package's rooms that the map forbids."""
    found = set()
    for file in sorted(package.rglob("*.py")):
        inside = file.relative_to(package.parent).with_suffix("").parts[:-1]
        room = inside[1] if len(inside) > 1 else ""
        if room not in FLOORS:
            continue
        for line, name in _imported(ast.parse(file.read_text()), inside):
            parts = name.split(".")
            if parts[0] != package.name or len(parts) < 2 or parts[1] == room:
                continue
            if not _may(room, parts[1]):
                found.add(Climb(str(file.relative_to(package.parent)), line, room, parts[1]))
    return sorted(found, key=str)


def _may(room: str, wanted: str) -> bool:
    if wanted not in FLOORS:
        return False
    if FLOORS[wanted] == FLOORS[room]:
        return wanted in NEIGHBOURS.get(room, set())
    return FLOORS[wanted] < FLOORS[room]
