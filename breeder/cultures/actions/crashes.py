"""A tub crashes: one entry marks it and keeps it out of what is sold; its sisters are set apart with one tap each."""

from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from breeder.base.action_frame import action
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.actions.states import write_state
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Culture

# Long enough to see whether what killed one tub is in its sister too (common practice, no source).
SISTER_QUARANTINE = timedelta(days=28)
LONGEST_CRASH_REASON = 120  # leaves room for “crashed on …” in the reason that keeps the tub out of sale


@action(lock=line_lock.lock_tub)
def mark_crashed(locked: LockedTubs, because: str, *, happened_at: datetime | None = None, by: Any) -> Recorded:
    """Mark a tub as crashed: nothing is sold out of it from that moment, and the reason stands on its page."""
    if not because.strip():
        raise BadFact({"because": "Write what was seen, such as “all dead after the heat mat failed”. It is kept."})
    if len(because) > LONGEST_CRASH_REASON:
        fault = f"That has {len(because)} letters. Say it in {LONGEST_CRASH_REASON} or fewer."
        raise BadFact({"because": fault})
    tub = locked.first
    on = timezone.localdate(line_lock.check_time(tub, happened_at))
    values = {"crashed_on": on, "not_for_sale": f"crashed on {on:%-d %B %Y}: {because.strip()}"}
    return locked.recorded(write_state(tub, values, at=happened_at, note="", by=by))


@action(lock=line_lock.lock_tub)
def end_crash(locked: LockedTubs, reason: str, *, by: Any) -> Recorded:
    """Let a tub that crashed give again, with the reason."""
    if not reason.strip():
        raise BadFact({"reason": "Write why the tub may give again, such as “recovered, counted and clean”."})
    tub = locked.first
    if tub.crashed_on is None:
        raise BadFact(f"Tub {tub.number} is not marked as crashed. Go back to its page.")
    values = {"crashed_on": None, "not_for_sale": ""}
    return locked.recorded(write_state(tub, values, at=None, note=reason.strip(), by=by))


@action(lock=line_lock.lock_both_tubs)
def set_sister_apart(locked: LockedTubs, crashed_id: int, *, quarantine: bool, by: Any) -> Recorded:
    """Put a sister of a crashed tub in quarantine, or keep it out of what is sold; the reason names the crash."""
    tub, crashed = locked.first, locked.tubs[crashed_id]
    if crashed.crashed_on is None:
        raise BadFact(f"Tub {crashed.number} is not marked as crashed. Mark it first.")
    because = f"sister of tub {crashed.number}, which crashed on {crashed.crashed_on:%-d %B %Y}"
    values: dict[str, str | date] = {"not_for_sale": because}
    if quarantine:
        if tub.purpose == Culture.Purpose.MIXED:
            raise BadFact(f"Tub {tub.number} is a mixed tub and stays one; nothing is sold out of it anyway.")
        until = timezone.localdate() + SISTER_QUARANTINE
        values = {"purpose": Culture.Purpose.QUARANTINE.value, "quarantine_until": until}
    return locked.recorded(write_state(tub, values, at=None, note=because if quarantine else "", by=by))
