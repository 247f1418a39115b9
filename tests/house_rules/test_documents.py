"""README and DEVELOPERS name only what is there."""

import re
from pathlib import Path

import pytest
from django.core.management import get_commands

ROOT = Path(__file__).resolve().parents[2]
README, DEVELOPERS = (ROOT / "README.md").read_text(), (ROOT / "DEVELOPERS.md").read_text()
NAMED_FILE = re.compile(r"`((?:\w+/)+\w+\.(?:py|js|csv|html))`")
DECIDED = re.compile(r"`((?:\w+/)+\w+\.py)` \(`(\w+)`\)")


@pytest.mark.parametrize("name", sorted(set(NAMED_FILE.findall(DEVELOPERS) + NAMED_FILE.findall(README))))
def test_every_file_that_is_named_is_there(name: str) -> None:
    assert any((place / name).exists() for place in (ROOT, ROOT / "breeder")), name


@pytest.mark.parametrize(("file", "function"), DECIDED.findall(DEVELOPERS))
def test_every_function_that_is_named_is_in_its_file(file: str, function: str) -> None:
    assert re.search(rf"^(?:def|class) {function}\b", (ROOT / "breeder" / file).read_text(), re.MULTILINE)


def test_every_command_of_the_readme_is_there() -> None:
    paragraph = re.search(r"\*\*Commands\*\*:.*?\*\*Two roles\*\*", README, re.DOTALL)
    assert paragraph
    named = {words.split()[0] for words in re.findall(r"`([a-z_][^`]*)`", paragraph[0])}
    assert len(named) >= 10
    assert named <= set(get_commands())
