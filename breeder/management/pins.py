"""Exact pins for the extra `lock` of pyproject.toml, read off what is installed; no index address is ever written."""

import re
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT = "breeder"
BLOCK = re.compile(r"^lock = \[\n.*?^\]\n", re.MULTILINE | re.DOTALL)


class NotInstalled(Exception):
    """A declared dependency is not installed here, so that it cannot be pinned."""


def declared() -> list[Requirement]:
    """Return the project's own runtime requirements."""
    found = [Requirement(text) for text in distribution(PROJECT).requires or []]
    return [wanted for wanted in found if not _extra_only(wanted)]


def _extra_only(wanted: Requirement) -> bool:
    return wanted.marker is not None and "extra" in str(wanted.marker)


def closure(wanted: Iterable[Requirement]) -> dict[str, str]:
    """Return name → pin of these requirements and of all that they need here. Raises NotInstalled.

    A pin that only some systems need carries the marker it was required with.
    """
    found: dict[str, str] = {}
    waiting = [(requirement, "") for requirement in wanted]
    while waiting:
        requirement, inherited = waiting.pop()
        name = canonicalize_name(requirement.name)
        if requirement.marker and not requirement.marker.evaluate({"extra": ""}):
            continue
        marker = inherited or _marker_of(requirement)
        if name in found and (" ; " not in found[name] or marker):
            continue
        try:
            installed = distribution(requirement.name)
        except PackageNotFoundError:
            raise NotInstalled(f"{requirement.name} is not installed here, so it cannot be pinned.") from None
        found[name] = f"{name}=={installed.version}" + (f" ; {marker}" if marker else "")
        needs = [Requirement(text) for text in installed.requires or []]
        waiting += [(need, marker) for need in needs if not _extra_only(need)]
        waiting += [(need, marker) for need in needs if _extra_only(need) and _asked_for(need, requirement.extras)]
    return dict(sorted(found.items()))


def _marker_of(requirement: Requirement) -> str:
    text = str(requirement.marker or "")
    return text if text and "extra" not in text else ""


def _asked_for(need: Requirement, extras: set[str]) -> bool:
    return any(need.marker.evaluate({"extra": extra}) for extra in extras) if need.marker else False


def with_pins(pyproject: str, pins: Iterable[str]) -> str:
    """Return pyproject.toml's text with the extra `lock` replaced, or added at the head of the extras."""
    # Markers hold double quotes; inside a TOML string they are written as single ones, which mean the same.
    block = "lock = [\n" + "".join(f'    "{pin.replace(chr(34), chr(39))}",\n' for pin in pins) + "]\n"
    if BLOCK.search(pyproject):
        return BLOCK.sub(lambda _: block, pyproject)
    head = "[project.optional-dependencies]\n"
    return pyproject.replace(head, head + block)


def write(path: Path) -> list[str]:
    """Rewrite the extra `lock` in a pyproject.toml and return its pins."""
    pins = list(closure(declared()).values())
    path.write_text(with_pins(path.read_text(), pins))
    return pins
