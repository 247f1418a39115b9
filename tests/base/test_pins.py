"""The exact pins satisfy the declared bounds, cover them, and name no address."""

import tomllib

from django.conf import settings
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from breeder.management import pins

PROJECT = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]
LOCK = [Requirement(text) for text in PROJECT["optional-dependencies"]["lock"]]


def test_every_declared_package_is_pinned_within_its_bounds() -> None:
    pinned = {canonicalize_name(pin.name): Version(str(pin.specifier).removeprefix("==")) for pin in LOCK}
    for text in PROJECT["dependencies"]:
        wanted = Requirement(text)
        assert wanted.specifier.contains(pinned[canonicalize_name(wanted.name)]), text


def test_pins_are_exact_and_name_no_address() -> None:
    assert all(str(pin.specifier).startswith("==") and pin.url is None for pin in LOCK)
    assert "://" not in "".join(PROJECT["optional-dependencies"]["lock"])


def test_rewriting_replaces_the_block_and_nothing_else() -> None:
    before = 'name = "x"\n[project.optional-dependencies]\nlock = [\n    "old==1",\n]\ntest = ["y"]\n'
    after = pins.with_pins(before, ['new==2 ; sys_platform == "win32"'])
    assert after == before.replace('"old==1"', "\"new==2 ; sys_platform == 'win32'\"")


def test_pins_are_added_where_there_were_none() -> None:
    after = pins.with_pins('[project.optional-dependencies]\ntest = ["y"]\n', ["new==2"])
    assert tomllib.loads(after)["project"]["optional-dependencies"] == {"lock": ["new==2"], "test": ["y"]}
