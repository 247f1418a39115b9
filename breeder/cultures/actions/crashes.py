"""A tub crashes: one entry marks it and keeps it out of what is sold; its sisters are set apart with one tap each."""

from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.actions.states import write_state
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Culture

# Long enough to see whether what killed one tub is in its sister too (common practice, no source).
SISTER_QUARANTINE = timedelta(days=28)
LONGEST_CRASH_REASON = 120  # leaves room for “crashed on …” in the reason that keeps the tub out of sale


def mark_crashed(
    culture_id: int,
    because: str,
    *,
    happened_at: datetime | None = None,
    by: Any,
    token: str = "",
    answer: str = "",
) -> Recorded:
    """Mark a tub as crashed: nothing is sold out of it from that moment, and the reason stands on its page."""
    if not because.strip():
        raise BadFact({"because": "Write what was seen, such as “all dead after the heat mat failed”. It is kept."})
    if len(because) > LONGEST_CRASH_REASON:
        said = f"That has {len(because)} letters. Say it in {LONGEST_CRASH_REASON} or fewer."
        raise BadFact({"because": said})
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id])
        tub = this.tubs[culture_id]
        on = timezone.localdate(line_lock.check_time(tub, happened_at))
        to = {"crashed_on": on, "not_for_sale": f"crashed on {on:%-d %B %Y}: {because.strip()}"}
        entry = write_state(tub, to, at=happened_at, note="", by=by)
        return this.recorded(entry, token=token, answer=answer)


def end_crash(culture_id: int, reason: str, *, by: Any, token: str = "", answer: str = "") -> Recorded:
    """Let a tub that crashed give again, with the reason."""
    if not reason.strip():
        raise BadFact({"reason": "Write why the tub may give again, such as “recovered, counted and clean”."})
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id])
        tub = this.tubs[culture_id]
        if tub.crashed_on is None:
            raise BadFact(f"Tub {tub.number} is not marked as crashed. Go back to its page.")
        entry = write_state(tub, {"crashed_on": None, "not_for_sale": ""}, at=None, note=reason.strip(), by=by)
        return this.recorded(entry, token=token, answer=answer)


def set_sister_apart(
    culture_id: int, crashed_id: int, *, quarantine: bool, by: Any, token: str = "", answer: str = ""
) -> Recorded:
    """Put a sister of a crashed tub in quarantine, or keep it out of what is sold; the reason names the crash."""
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id, crashed_id])
        tub, crashed = this.tubs[culture_id], this.tubs[crashed_id]
        if crashed.crashed_on is None:
            raise BadFact(f"Tub {crashed.number} is not marked as crashed. Mark it first.")
        because = f"sister of tub {crashed.number}, which crashed on {crashed.crashed_on:%-d %B %Y}"
        to: dict[str, str | date] = {"not_for_sale": because}
        if quarantine:
            if tub.purpose == Culture.Purpose.MIXED:
                raise BadFact(f"Tub {tub.number} is a mixed tub and stays one; nothing is sold out of it anyway.")
            until = timezone.localdate() + SISTER_QUARANTINE
            to = {"purpose": Culture.Purpose.QUARANTINE.value, "quarantine_until": until}
        entry = write_state(tub, to, at=None, note=because if quarantine else "", by=by)
        return this.recorded(entry, token=token, answer=answer)
