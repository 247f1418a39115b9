"""The exact pins satisfy the declared bounds, cover them, and name no address."""

import tomllib

from django.conf import settings
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

PROJECT = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]
LOCK = [Requirement(text) for text in PROJECT["optional-dependencies"]["lock"]]


def test_every_declared_package_is_pinned_within_its_bounds() -> None:
    here = [pin for pin in LOCK if pin.marker is None or pin.marker.evaluate({**default_environment()})]
    pinned = {canonicalize_name(pin.name): Version(str(pin.specifier).removeprefix("==")) for pin in here}
    for text in PROJECT["dependencies"]:
        wanted = Requirement(text)
        assert wanted.specifier.contains(pinned[canonicalize_name(wanted.name)]), text


def test_pins_are_exact_and_name_no_address() -> None:
    assert all(str(pin.specifier).startswith("==") and pin.url is None for pin in LOCK)
    assert "://" not in "".join(PROJECT["optional-dependencies"]["lock"])
