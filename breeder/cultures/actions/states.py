"""What a tub is for, and whether it may be sold from: state entries, which keep what was so before."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from breeder.base.action_frame import action
from breeder.cultures import frozen_lines, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Culture, Entry

# The fields of a tub that state entries set; dates are kept as ISO text in the ledger.
DATES = ("quarantine_until", "crashed_on", "closed_on")
# Animals in tubs of these purposes are on their way out of the line.
LOST_IN = (Culture.Purpose.MIXED, Culture.Purpose.SHOW)


NEVER_BACK = (
    "Tub {number} is a mixed tub, and a mixed tub never goes back into a line: nobody can tell its animals apart "
    "again. Start a new tub for animals that are true."
)


@action(lock=line_lock.lock_tub)
def set_purpose(
    locked: LockedTubs,
    purpose: str,
    *,
    quarantine_until: date | None = None,
    reason: str = "",
    named: str = "",
    by: Any,
) -> Recorded:
    """Set what a tub is for. A mixed tub never goes back into a line; a frozen line's tub is shown or mixed by name."""
    if purpose not in Culture.Purpose.values:
        raise BadFact({"purpose": f"“{purpose}” is not a purpose. Choose one of: {', '.join(Culture.Purpose.values)}."})
    if quarantine_until and quarantine_until < timezone.localdate():
        fault = f"“Quarantine until” is {quarantine_until:%-d %B %Y}, which is past. Give a later day."
        raise BadFact({"quarantine_until": fault})
    tub = locked.first
    if tub.purpose == Culture.Purpose.MIXED and purpose != Culture.Purpose.MIXED:
        raise BadFact({"purpose": NEVER_BACK.format(number=tub.number)})
    if purpose in LOST_IN and tub.purpose != purpose:
        frozen_lines.require_named([tub.line], [named], "to show or mix a tub of")
    until = quarantine_until if purpose == Culture.Purpose.QUARANTINE else None
    values = {"purpose": purpose, "quarantine_until": until}
    return locked.recorded(write_state(tub, values, at=None, note=reason, by=by))


@action(lock=line_lock.lock_tub)
def set_not_for_sale(locked: LockedTubs, because: str, *, by: Any) -> Recorded:
    """Keep a tub out of what is sold, with the reason; an empty reason gives it back."""
    longest = Culture._meta.get_field("not_for_sale").max_length or 0
    if len(because) > longest:
        raise BadFact({"because": f"The reason has {len(because)} letters. Say it in {longest} or fewer."})
    entry = write_state(locked.first, {"not_for_sale": because.strip()}, at=None, note="", by=by)
    return locked.recorded(entry)


def write_state(
    tub: Culture, values: Mapping[str, Any], *, at: datetime | None, note: str, by: Any, into: int | None = None
) -> Entry:
    """Write a state entry and bring the tub's own row to it; what was before is kept, so that it can be put right.

    `into` is the tub that one tipped out whole went into.
    """
    happened_at = line_lock.check_time(tub, at)
    given: dict[str, Any] = {"set": _iso(values), "before": _iso({name: getattr(tub, name) for name in values})}
    if into is not None:
        given["into"] = into
    apply_state(tub, given["set"])
    return steps.write_entry(tub, Entry.Kind.STATE, given=given, happened_at=happened_at, note=note, by=by)


def apply_state(tub: Culture, values: Mapping[str, Any]) -> None:
    """Bring a tub's row to the values of a state entry, as kept in the ledger."""
    for name, value in values.items():
        setattr(tub, name, date.fromisoformat(value) if name in DATES and value else value)
    tub.save(update_fields=list(values))


def _iso(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value.isoformat() if isinstance(value, date) else value for name, value in values.items()}
