"""The changes that a species or a line allows, and the reasons and sources they need."""

from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.core.exceptions import ValidationError

from breeder.core.reserve.defaults import ADULTS_KEPT, ADULTS_KEPT_IRREPLACEABLE
from breeder.species.models import Line, Mark, Species

OWN_SOURCE = "your own record"

MINIMUMS = {
    "adults_kept": "adults that stay",
    "young_kept": "young that stay",
    "each_sex_kept": "of each sex that stay",
}


class NeedsReason(ValidationError):
    """A minimum would fall or a line would close, and no reason was given."""


class NameTaken(ValidationError):
    """Another row already has this name."""


def default_adults_kept(irreplaceable: bool) -> int:
    """Return how many adults stay if the keeper gave no number."""
    return ADULTS_KEPT_IRREPLACEABLE if irreplaceable else ADULTS_KEPT


def protection_given_up(before: Line, after: Mapping[str, Any]) -> list[str]:
    """Return the parts of a line's protection that a change gives up, one clause each."""
    clauses = [
        f"{words} falls from {getattr(before, name)} to {after[name]}"
        for name, words in MINIMUMS.items()
        if after[name] < getattr(before, name)
    ]
    share, old_share = after.get("harvest_share"), before.harvest_share
    if old_share is not None and (share is None or share > old_share):
        clauses.append("more of the young may be taken between counts")
    if before.irreplaceable and not after["irreplaceable"]:
        clauses.append("it would no longer count as one that cannot be bought again")
    if before.is_open and after["status"] == Line.Status.CLOSED:
        clauses.append("the line closes and sells nothing more")
    return clauses


def refuse_closing_frozen(before: Line, after: Mapping[str, Any]) -> None:
    """Refuse to close a frozen line: the keeper ends the freeze first, on its own page. Raises ValidationError."""
    if before.frozen_because and before.is_open and after["status"] == Line.Status.CLOSED:
        raise ValidationError(
            f"{before} is frozen ({before.frozen_because.rstrip('.')}). End its freeze first, then close it.",
            code="frozen",
        )


def check_reason(before: Line, after: Mapping[str, Any], reason: str) -> list[str]:
    """Return what a change gives up. Raises NeedsReason if it gives something up without a reason."""
    gives_up = protection_given_up(before, after)
    if gives_up and not reason.strip():
        sentence = f"{joined_sentence(gives_up)} Say why under ‘reason’; it is kept in the log."
        raise NeedsReason({"reason": ValidationError(sentence, code="needs_reason")})
    return gives_up


def joined_sentence(clauses: Iterable[str]) -> str:
    """Join clauses into one sentence."""
    joined = "; ".join(clauses)
    return f"{joined[:1].upper()}{joined[1:]}."


# Temperatures that rise from left to right.
IN_ORDER = (("hard_low_c", "comfort_low_c", "comfort_high_c", "hard_high_c"), ("keeping_low_c", "keeping_high_c"))


def out_of_order(values: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return neighboring fields (lower, higher) whose temperatures contradict each other; skips unknown ones."""
    wrong = []
    for names in IN_ORDER:
        known = [(name, values[name]) for name in names if values.get(name) is not None]
        for (lower, low), (higher, high) in pairwise(known):
            is_band = (lower, higher) == ("comfort_low_c", "comfort_high_c")
            if low > high or (is_band and low == high):
                wrong.append((lower, higher))
    return wrong


# The usual limits of a band in the trade: inside the box, comfort from 7 (tropical 13) to 29 °C, never outside 0 to 36
# (tropical 8 to 35). Common practice, no source.
_LIMITS = ("comfort_low_c", "comfort_high_c", "hard_low_c", "hard_high_c")
BAND_LIMITS = {
    Species.Band.TEMPERATE.value: dict(zip(_LIMITS, map(Decimal, (7, 29, 0, 36)), strict=True)),
    Species.Band.TROPICAL.value: dict(zip(_LIMITS, map(Decimal, (13, 29, 8, 35)), strict=True)),
}
USUAL_SOURCE = "the usual value, taken since nobody typed one"


def sources_after(
    sources: Mapping[str, Any],
    changed: Mapping[str, Any],
    *,
    mark: str = "",
    source: str = "",
    usual: Collection[str] = (),
) -> dict[str, list[str]]:
    """Return the sources after these values are set: the keeper's own record unless they name another source.

    A value that the keeper emptied counts as their own record, so that no starter set fills it again. A `usual` value
    that the keeper did not type is common practice.
    """
    entry = [mark or Mark.OWN.value, source.strip() or OWN_SOURCE]
    kept = {name: list(value) for name, value in sources.items() if name not in changed}
    assumed = [Mark.PRACTICE.value, USUAL_SOURCE]
    given = [name for name, value in changed.items() if value not in (None, "")]
    emptied = {name: [Mark.OWN.value, OWN_SOURCE] for name in changed if name in sources and name not in given}
    return kept | emptied | {name: list(assumed if name in usual else entry) for name in given}
