"""From what the keeper typed to a count with its bound, by the census room's methods."""

import json
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, Protocol

from django.core.exceptions import ValidationError

from breeder.core.counting.defaults import EYE_CLASSES, SHARED_SD
from breeder.core.counting.errors import MOST_ANIMALS, BadCount
from breeder.core.counting.methods.change_in_ratio import SexCounts, by_sexes
from breeder.core.counting.methods.count import Count
from breeder.core.counting.methods.direct import ONE_BY_ONE, after_sale, count_after_sale, full_sort, hand, weight
from breeder.core.counting.methods.mark_recapture import marked
from breeder.core.counting.methods.removal import removal
from breeder.core.counting.methods.subsample import portions
from breeder.core.counting.methods.visual import eye, index, piece
from breeder.core.counting.observer_bias import without_bias

# What each method is called on the pages, in the order of the form.
NAMES = {
    "eye": "by eye",
    "hand": "counted by hand",
    "full_sort": "full sort",
    "portions": "portions",
    "piece": "under one piece",
    "index": "seen at a shelter",
    "weight": "weighed",
    "removal": "removal in passes",
    "marked": "marked and caught again",
    "after_sale": "before and after a sale",
    "by_sexes": "sexes before and after",
    "start": "tub started empty",
}

# What to know before choosing a method, where it asks or hides more than its name says.
CAUTIONS = {
    "removal": "Search the same number of minutes in every pass, or the number comes out wrong.",
    "marked": "Marks are lost when animals molt, so the number comes out too high. Catch again within a few days.",
}

_BY: dict[str, Callable[..., Count]] = {
    "eye": lambda given, **own: eye(given["from"], given["to"], **own),
    "hand": lambda given, **own: hand(given["counted"], given.get("missed_share", 0.0), **own),
    "full_sort": lambda given, **own: full_sort(given["counted"], given.get("missed_share", 0.0), **own),
    "portions": lambda given, **own: portions(
        given["counts"], given["sizes"], given["whole"], visible=given.get("visible", 0), **own
    ),
    "piece": lambda given, **own: piece(given["seen"], given["factor"], **own),
    "weight": lambda given, **own: weight(given["sample_count"], given["sample_g"], given["whole_g"], **own),
    "removal": lambda given, **own: removal(given["catches"], **own),
    "index": lambda given, **own: index(given["seen"], given["trial_seen"], given["trial_known"], **own),
    "after_sale": lambda given, **own: count_after_sale(
        after_sale(given["index_before"], given["index_after"], given["removed"], **own)
    ),
    "by_sexes": lambda given, **own: count_after_sale(
        by_sexes(*(SexCounts(**given[name]) for name in ("before", "after", "taken")), **own)
    ),
    "marked": lambda given, **own: marked(given["marked"], given["caught"], given["marked_caught"], **own),
}
METHODS = tuple(_BY)
OF_ADULTS = ("by_sexes",)  # only adults can be sexed
LEARNT = "learnt"  # in what is kept of a count: bias, spread and pairs of the person who made it

# Where the census room's name of a value is not the form's.
_FORM_FIELDS = {"from": "low", "to": "high", "shared_sd": "method", "confidence": "method"}


class BadFact(ValidationError):
    """A fact that cannot have happened as typed; says which value and what to type instead."""


def counted(method: str, given: Mapping[str, Any], *, shared_sd: float | None = None) -> Count:
    """Return the count that these typed values make. Raises BadFact naming every wrong value at once.

    Where `given` holds what was learnt of the person who counted, their usual error is taken out and their own spread
    takes the place of the method's default.
    """
    if method not in _BY:
        raise BadFact({"method": f"“{method}” is not a way to count. Choose one of: {', '.join(METHODS)}."})
    own = given.get(LEARNT)
    shared = (own["sd"] if own else SHARED_SD[method]) if shared_sd is None else shared_sd
    try:
        count = _BY[method](given, shared_sd=shared)
    except BadCount as fault:
        raise BadFact(_by_field(fault)) from fault
    except KeyError as missing:
        field = str(missing.args[0])
        needed = "This count needs this value. Type it, or count in another way."
        raise BadFact({_form_field(field): needed}) from missing
    if count.estimate is None or count.log_sd is None:
        raise BadFact(" ".join(count.notes) or "These values do not say how many there are. Count in another way.")
    return without_bias(count, own["bias"], own["pairs"]) if own else count


def newly_counted(method: str, given: Mapping[str, Any]) -> Count:
    """Return the count that values typed now make. Raises BadFact too for more animals than one tub can hold.

    What stands in the ledger is read by `counted`, whatever it says.
    """
    count = counted(method, given)
    if (count.estimate or 0.0) > MOST_ANIMALS:
        raise BadFact(
            f"These values make about {count.estimate:.0f} animals, more than one tub can hold ({MOST_ANIMALS}). "
            "Look for the slip, and type them again."
        )
    return count


class Recorded(Protocol):
    """What the ledger keeps of a count: how it was made, the raw numbers, and the shared error of its day."""

    method: str
    given: Any
    shared_sd: float | None


def counted_again(entry: Recorded) -> Count | None:
    """Return an old count by today's method from its raw numbers, its shared error as it was kept.

    None where the raw numbers are not kept, or today's method takes them no more: what was worked out then stands.
    """
    return _counted_again(entry.method, json.dumps(entry.given, sort_keys=True), entry.shared_sd or 0.0)


@lru_cache(maxsize=4096)
def _counted_again(method: str, given: str, shared_sd: float) -> Count | None:
    try:
        return counted(method, json.loads(given), shared_sd=shared_sd)
    except (BadFact, TypeError, ValueError):
        return None


def eye_class(words: str) -> dict[str, int]:
    """Return what is written down for a size class, by its words. Raises BadFact for a class that is none."""
    for size in EYE_CLASSES:
        if size.words == words:
            return {"from": size.low, "to": size.high}
    raise BadFact({"eye": f"“{words}” is not a size class. Choose one of: {', '.join(c.words for c in EYE_CLASSES)}."})


def said(method: str, given: Mapping[str, Any]) -> str:
    """Return a count as the keeper made it: '50–100', '3.4.10', '38 of 14 portions'; only for showing."""
    if method == "eye":
        size = next((c for c in EYE_CLASSES if (c.low, c.high) == (given.get("from"), given.get("to"))), None)
        return size.words if size else f"{given.get('from')}–{given.get('to')}"
    if method in ONE_BY_ONE:
        sexed = given.get("sexed")
        return f"{sexed} ({given.get('counted')})" if sexed else f"{given.get('counted')}"
    if method == "portions":
        return f"{sum(given.get('counts', ()))} in {len(given.get('counts', ()))} portions"
    if method == "removal":
        return f"{sum(given.get('catches', ()))} in {len(given.get('catches', ()))} passes"
    return ""


def _by_field(fault: BadCount) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for field, sentence in fault.faults:
        found.setdefault(_form_field(field), []).append(sentence)
    return found


def _form_field(field: str) -> str:
    root = field.split("[")[0].split(".")[0]
    return _FORM_FIELDS.get(root, root)
