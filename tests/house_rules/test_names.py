"""Module names mean one thing, and names say what they hold. Older names that are left are counted, and only shrink."""

from collections import Counter
from pathlib import Path

from tests.house_rules import names

PACKAGE = Path(__file__).resolve().parents[2] / "breeder"

# Vague names that are left, by room. Whoever mends some lowers the number.
STILL_VAGUE = {
    "base": 35, "carriers": 3, "cultures": 160, "dashboard": 1, "evaluation": 3, "management": 4, "orders": 65,
    "people": 3, "shipments": 38, "species": 7, "weather": 9,
}  # fmt: skip
# Class names that two modules define, and import aliases that stand for two modules.
STILL_TWICE = {"Change", "Done", "Part", "Place", "Read", "Recorded", "Unreadable", "_Frame"}
STILL_TWO_MEANINGS = {"packing", "people"}


def room_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE).parts
    return "/".join(parts[:2]) if parts[0] == "core" else parts[0]


def test_no_module_name_means_two_things() -> None:
    assert names.repeated_module_names(PACKAGE) == {}


def test_vague_names_only_become_fewer() -> None:
    counted = Counter(room_of(path) for path in names.modules(PACKAGE) for _ in names.vague_names(path))
    assert dict(counted) == STILL_VAGUE


def test_no_new_class_or_alias_has_two_meanings() -> None:
    assert set(names.repeated_classes(PACKAGE)) == STILL_TWICE
    assert set(names.aliases(PACKAGE)) == STILL_TWO_MEANINGS


def test_a_vague_name_is_found(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text("def bill_of(one):\n    found = one\n    return found\n")
    assert sorted(names.vague_names(module)) == ["bill_of", "found", "one"]
