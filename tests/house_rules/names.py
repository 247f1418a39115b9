"""Names as the house rules want them, and how to find those that are not; used by test_names.py."""

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

# The same file name means the same thing in every room, so these may occur often.
ROLES = {
    "__init__", "__main__", "models", "queries", "rules", "actions", "steps", "forms", "tables", "views", "urls",
    "charts", "types", "errors", "reckon", "defaults", "apps", "facts", "fields",
}  # fmt: skip
VAGUE = {"found", "said", "told", "one", "own"}
VAGUE_ENDINGS = ("_of", "_said")


def modules(package: Path) -> list[Path]:
    """Return every module of the app that people write by hand."""
    return sorted(path for path in package.rglob("*.py") if "migrations" not in path.parts)


def repeated_module_names(package: Path) -> dict[str, list[str]]:
    """Return module names that occur more than once outside of the folders of a role (actions/tubs, views/tubs)."""
    places = defaultdict(list)
    for path in modules(package):
        if path.stem not in ROLES and path.parent.name not in ROLES and "commands" not in path.parts:
            places[path.stem].append(str(path.relative_to(package)))
    return {name: at for name, at in places.items() if len(at) > 1}


def vague_names(path: Path) -> Iterator[str]:
    """Yield each vague name that a module gives to a variable, a parameter or a function."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store) and node.id in VAGUE:
            yield node.id
        elif isinstance(node, ast.arg) and node.arg in VAGUE:
            yield node.arg
        elif isinstance(node, ast.FunctionDef) and (node.name in VAGUE or node.name.endswith(VAGUE_ENDINGS)):
            yield node.name


def aliases(package: Path) -> dict[str, set[str]]:
    """Return which modules each import alias (`import x as alias`) stands for."""
    meaning = defaultdict(set)
    for path in modules(package):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom):
                for alias in node.names:
                    if alias.asname and not node.level:
                        meaning[alias.asname].add(f"{node.module}.{alias.name}")
    return {alias: named for alias, named in meaning.items() if len(named) > 1}


def repeated_classes(package: Path) -> dict[str, list[str]]:
    """Return class names that two modules define; Django's `Meta` and `Command` are everywhere."""
    places = defaultdict(list)
    for path in modules(package):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.ClassDef) and node.name != "Command":
                places[node.name].append(str(path.relative_to(package)))
    return {name: at for name, at in places.items() if len(at) > 1}
