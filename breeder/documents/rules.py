"""Pure rules for what the PDFs say."""

from collections.abc import Collection, Iterable

# Labels or rows in one file; more than this is a typing error, not a day's work.
PRINTED_AT_MOST = 600
# An address with more lines than this is printed with several on one line, so that it stays readable on a label.
BLOCK_LINES = 9
DIGITS = 9
NO_BREAK = "\u00a0"
PLURAL = {
    "isopod": "isopods",
    "springtail": "springtails",
    "millipede": "millipedes",
    "roach": "roaches",
    "snail": "snails",
    "other": "invertebrates",
}


class NothingToPrint(Exception):
    """There is nothing to print; the message says why and what to do."""


def sexes(number: int, males: int, females: int) -> str:
    """Return '1 ♂, 1 ♀' or '3 ♂, 4 ♀, 10 unsexed'; empty where no sex was asked for."""
    rest = number - males - females
    # More sexed than there are: the box was packed differently from the plan, so no sex is claimed.
    if not males + females or rest < 0:
        return ""
    groups = [(males, "♂"), (females, "♀"), (rest, "unsexed")]
    return ", ".join(f"{many}{NO_BREAK}{sex}" for many, sex in groups if many > 0)


def shares(number: int, cups: int) -> list[int]:
    """Return how many go into each cup, as evenly as whole animals allow."""
    cups = max(cups, 1)
    each, over = divmod(number, cups)
    return [each + (1 if cup < over else 0) for cup in range(cups)]


def sexes_in_cup(number: int, males: int, females: int, cups: int) -> str:
    """Return the sexes for one of several cups; where they do not divide evenly, those of all cups together."""
    if males % cups == 0 and females % cups == 0:
        return sexes(number, males // cups, females // cups)
    return f"{males}{NO_BREAK}♂, {females}{NO_BREAK}♀ in all {cups} cups"


def list_text(words: Iterable[str]) -> str:
    """Return 'a', 'a and b', 'a, b and c'."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def contents_text(groups: Collection[str], *, venomous: bool, harmful: bool) -> str:
    """Return the description for the address side; 'harmless' only when no species inside defends itself."""
    kinds = list_text(dict.fromkeys(PLURAL.get(group, PLURAL["other"]) for group in sorted(groups))) if groups else ""
    if venomous:
        return f"Live {kinds}, some of them VENOMOUS"
    if not kinds:
        return "Live invertebrates"
    return f"Live {kinds}" if harmful else f"Live harmless {kinds}"


def address_text(name: str, address: str) -> str:
    """Return an address as printed: no empty lines, and the name on top unless it is already in it."""
    lines = [line.strip() for line in address.splitlines() if line.strip()]
    if name and not any(name.casefold() in line.casefold() for line in lines):
        lines.insert(0, name)
    joined = -(-len(lines) // BLOCK_LINES)
    return "\n".join(", ".join(lines[at : at + joined]) for at in range(0, len(lines), max(joined, 1)))


def numbers_in(typed: str) -> list[int]:
    """Return the tub numbers of '3, 14, 20-25' in the order typed; raises NothingToPrint with a sentence."""
    numbers: dict[int, None] = {}
    for part in filter(None, (part.strip() for part in typed.split(","))):
        ends = part.split("-")
        if len(ends) > 2 or not all(end.strip().isdecimal() and len(end.strip()) <= DIGITS for end in ends):
            raise NothingToPrint(
                f"“{part[:40]}” is not a tub number. Write numbers with commas between, such as 3, 14, 20-25."
            )
        first, last = int(ends[0]), int(ends[-1])
        if not 0 <= last - first < PRINTED_AT_MOST:
            raise NothingToPrint(
                f"{part} is not a run of tubs. Write the lower number first, at most {PRINTED_AT_MOST} at once."
            )
        numbers.update(dict.fromkeys(range(first, last + 1)))
    return list(numbers)


def refuse_too_many(number: int, of: str) -> None:
    """Refuse a file so long that it can only be a typing error."""
    if number > PRINTED_AT_MOST:
        raise NothingToPrint(
            f"That would print {number} {of}; {PRINTED_AT_MOST} are printed at a time. Check the numbers."
        )
