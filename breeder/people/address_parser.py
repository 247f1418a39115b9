"""Read country, postcode, town and region from an address that was pasted as a block."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from breeder.base.postcodes import us_place
from breeder.core.compliance.regions import CA_PROVINCES, US_POST_CODES, read_country

# Former codes of Quebec and Newfoundland that people still write (from memory).
FORMER_PROVINCES = {"PQ": "QC", "NF": "NL"}
US_LINE = re.compile(r"^(?P<town>.*?)[\s,]+(?P<state>[A-Za-z]{2})[.,]?\s+(?P<code>[0-9]{5})(?:-[0-9]{4})?$")
US_BARE = re.compile(r"^(?P<town>\D*?)[\s,]*(?P<code>[0-9]{5})(?:-[0-9]{4})?$")
CA_CODE = re.compile(r"\b([ABCEGHJ-NPRSTVXY]\d[A-Z]) ?(\d[A-Z]\d)\b", re.IGNORECASE)
GB_CODE = re.compile(r"\b([A-Z]{1,2}\d[A-Z\d]?) ?(\d[A-Z]{2})\b", re.IGNORECASE)
# Digits before or after the town: 10117, 1012 AB, 111 22, 00-950, 100-0001, and 101 at the start of the line.
OTHER_CODE = re.compile(
    r"\b(?:[A-Z]{1,2}-)?([0-9]{4,5}(?: [A-Z]{2})?|[0-9]{3} [0-9]{2}|[0-9]{2}-[0-9]{3}|[0-9]{3}-[0-9]{4})\b"
    r"|^([0-9]{3})(?= \D)"
)


@dataclass(frozen=True)
class ReadBlock:
    """The parts read from an address; an empty text for each part that is missing."""

    country: str = ""
    postcode: str = ""
    town: str = ""
    region: str = ""


def read_block(block: str, *, country: str = "") -> ReadBlock:
    """Return the parts of an address; if the keeper chose a `country`, that decides how it is read.

    The last line may name the country. A block without one is read as a US, Canadian or British address if its postcode
    has that shape and, for the US, comes after a state or after the town it belongs to.
    """
    lines = [line.strip(" ,") for line in block.replace("\x00", "").splitlines() if line.strip(" ,")]
    if not lines:
        return ReadBlock(country)
    named = read_country(lines[-1])
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
    if american and (american.region or _is_in_town(american)):
        return american
    return _lettered(lines, "CA") or _lettered(lines, "GB") or ReadBlock()


def _american(lines: Sequence[str]) -> ReadBlock | None:
    for line in reversed(lines):
        match = US_LINE.match(line)
        if match and match["state"].upper() in US_POST_CODES:
            return ReadBlock("US", match["code"], match["town"].strip(" ,"), f"US-{match['state'].upper()}")
    for line in reversed(lines):
        if bare := US_BARE.match(line):
            return ReadBlock("US", bare["code"], bare["town"].strip(" ,"))
    return None


def _is_in_town(read: ReadBlock) -> bool:
    """Return whether the postcode lies in the town before it; a written-out state may come between them."""
    place = us_place(read.postcode)
    town = " ".join(f"{read.town.lower()} ".replace(",", " ").split()) + " "
    return bool(place and town.startswith(f"{place.town.lower()} "))


def _lettered(lines: Sequence[str], country: str) -> ReadBlock | None:
    """Read a Canadian or British code, on the town's line or on a line by itself."""
    pattern = CA_CODE if country == "CA" else GB_CODE
    for at in range(len(lines) - 1, -1, -1):
        match = pattern.search(lines[at])
        if not match:
            continue
        code = f"{match[1]} {match[2]}".upper()
        rest = pattern.sub("", lines[at]).strip(" ,") or (lines[at - 1] if at else "")
        town, province = _with_province(rest) if country == "CA" else (rest, "")
        return ReadBlock(country, code, town, province)
    return None


def _with_province(line: str) -> tuple[str, str]:
    """Return town and province of a line; two letters that are not a province belong to the town."""
    match = re.search(r"[\s,]+([A-Z]{2})$", line)
    letters = FORMER_PROVINCES.get(match[1], match[1]) if match else ""
    if not match or letters not in CA_PROVINCES:
        return line, ""
    return line[: match.start()].strip(" ,"), f"CA-{letters}"


def _continental(lines: Sequence[str], country: str) -> ReadBlock:
    """Read a code of digits before or after the town, from the last line up: lines above it hold street numbers."""
    for line in reversed(lines):
        if match := OTHER_CODE.search(line):
            town = (line[: match.start()] + line[match.end() :]).strip(" ,")
            return ReadBlock(country, match[1] or match[2], town)
    return ReadBlock(country, "", lines[-1])
