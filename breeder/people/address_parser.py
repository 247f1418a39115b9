"""Reading an address that was pasted as a block: country, postcode, town and region."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from breeder.base.postcodes import us_place
from breeder.core.compliance.regions import CA_PROVINCES
from breeder.people.countries import code_of

# Two-letter codes of states, territories, freely associated states and military post (USPS Publication 28, appendix B).
US_STATES = frozenset(
    (
        "AL", "AK", "AZ", "AR", "CA", "CO", "CT", "DE", "FL", "GA", "HI", "ID", "IL", "IN", "IA", "KS", "KY", "LA",
        "ME", "MD", "MA", "MI", "MN", "MS", "MO", "MT", "NE", "NV", "NH", "NJ", "NM", "NY", "NC", "ND", "OH", "OK",
        "OR", "PA", "RI", "SC", "SD", "TN", "TX", "UT", "VT", "VA", "WA", "WV", "WI", "WY", "DC", "PR", "VI", "GU",
        "AS", "MP", "FM", "MH", "PW", "AA", "AE", "AP",
    )
)  # fmt: skip
# Former letters of Quebec and Newfoundland, which are still written (from memory).
FORMER_PROVINCES = {"PQ": "QC", "NF": "NL"}
US_LINE = re.compile(r"^(?P<town>.*?)[\s,]+(?P<state>[A-Za-z]{2})[.,]?\s+(?P<code>[0-9]{5})(?:-[0-9]{4})?$")
US_BARE = re.compile(r"^(?P<town>\D*?)[\s,]*(?P<code>[0-9]{5})(?:-[0-9]{4})?$")
CA_CODE = re.compile(r"\b([ABCEGHJ-NPRSTVXY]\d[A-Z]) ?(\d[A-Z]\d)\b", re.IGNORECASE)
GB_CODE = re.compile(r"\b([A-Z]{1,2}\d[A-Z\d]?) ?(\d[A-Z]{2})\b", re.IGNORECASE)
# Digits before or behind the town: 10117, 1012 AB, 111 22, 00-950, 100-0001, and 101 at the start of the line.
OTHER_CODE = re.compile(
    r"\b(?:[A-Z]{1,2}-)?([0-9]{4,5}(?: [A-Z]{2})?|[0-9]{3} [0-9]{2}|[0-9]{2}-[0-9]{3}|[0-9]{3}-[0-9]{4})\b"
    r"|^([0-9]{3})(?= \D)"
)


@dataclass(frozen=True)
class ReadBlock:
    """What could be read from an address; an empty text where nothing was found."""

    country: str = ""
    postcode: str = ""
    town: str = ""
    region: str = ""


def read_block(block: str, *, country: str = "") -> ReadBlock:
    """Return what an address says; `country`, where the keeper chose one, decides how it is read.

    The country is looked for in the last line. A block without one is read as a US, Canadian or British address where
    its postcode has that shape and, for the US, stands behind a state or beside the town that bears it.
    """
    lines = [line.strip(" ,") for line in block.replace("\x00", "").splitlines() if line.strip(" ,")]
    if not lines:
        return ReadBlock(country)
    named = code_of(lines[-1])
    country = country or named
    if named and len(lines) > 1:
        lines = lines[:-1]
    if not country:
        return _without_country(lines)
    if country == "US":
        return _american(lines) or ReadBlock("US")
    if country in ("CA", "GB"):
        return _lettered(lines, country) or ReadBlock(country)
    return _continental(lines, country)


def _without_country(lines: Sequence[str]) -> ReadBlock:
    american = _american(lines)
    if american and (american.region or _town_bears(american)):
        return american
    return _lettered(lines, "CA") or _lettered(lines, "GB") or ReadBlock()


def _american(lines: Sequence[str]) -> ReadBlock | None:
    for line in reversed(lines):
        found = US_LINE.match(line)
        if found and found["state"].upper() in US_STATES:
            return ReadBlock("US", found["code"], found["town"].strip(" ,"), f"US-{found['state'].upper()}")
    for line in reversed(lines):
        if bare := US_BARE.match(line):
            return ReadBlock("US", bare["code"], bare["town"].strip(" ,"))
    return None


def _town_bears(read: ReadBlock) -> bool:
    """Return whether the postcode lies in the town before it; a state written out may stand between them."""
    place = us_place(read.postcode)
    town = " ".join(f"{read.town.lower()} ".replace(",", " ").split()) + " "
    return bool(place and town.startswith(f"{place.town.lower()} "))


def _lettered(lines: Sequence[str], country: str) -> ReadBlock | None:
    """Read a Canadian or British code, which stands on the town's line or on one of its own."""
    pattern = CA_CODE if country == "CA" else GB_CODE
    for at in range(len(lines) - 1, -1, -1):
        found = pattern.search(lines[at])
        if not found:
            continue
        code = f"{found[1]} {found[2]}".upper()
        rest = pattern.sub("", lines[at]).strip(" ,") or (lines[at - 1] if at else "")
        town, province = _with_province(rest) if country == "CA" else (rest, "")
        return ReadBlock(country, code, town, province)
    return None


def _with_province(line: str) -> tuple[str, str]:
    """Return town and province of a line; two letters that are no province belong to the town."""
    found = re.search(r"[\s,]+([A-Z]{2})$", line)
    letters = FORMER_PROVINCES.get(found[1], found[1]) if found else ""
    if not found or letters not in CA_PROVINCES:
        return line, ""
    return line[: found.start()].strip(" ,"), f"CA-{letters}"


def _continental(lines: Sequence[str], country: str) -> ReadBlock:
    """Read a code of digits before or behind the town; the lines above it hold street numbers."""
    for line in reversed(lines):
        if found := OTHER_CODE.search(line):
            town = (line[: found.start()] + line[found.end() :]).strip(" ,")
            return ReadBlock(country, found[1] or found[2], town)
    return ReadBlock(country, "", lines[-1])
