"""Inner parts of actions: animals that were in a box wait apart. All need the caller's transaction."""

from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from breeder.cultures.actions import transfers
from breeder.cultures.actions.states import write_state
from breeder.cultures.actions.tubs import Place, new_tub
from breeder.cultures.models import Culture, Entry

# Long enough to see what a cold or hot box did, and what came along with it (common practice, no source).
QUARANTINE = timedelta(days=14)


def tub_for(source: Culture, *, at: datetime, because: str, by: Any) -> Culture:
    """Return an open quarantine tub of the same line, begun beside the source tub where there is none.

    What waits there already never waits for a shorter time than it was to: a sister of a crashed tub, say.
    """
    until = timezone.localdate(at) + QUARANTINE
    waiting = Culture.objects.filter(line=source.line, purpose=Culture.Purpose.QUARANTINE, closed_on=None)
    if tub := waiting.order_by("number").first():
        longest = max(until, tub.quarantine_until or until)
        write_state(tub, {"quarantine_until": longest}, at=at, note=because, by=by)
        return tub
    place = Place(
        shelf=source.shelf,
        place_on_shelf=source.place_on_shelf,
        purpose=Culture.Purpose.QUARANTINE.value,
        quarantine_until=until,
        note=because,
    )
    tub = new_tub(source.line, place, timezone.localdate(at))
    write_state(tub, {"purpose": tub.purpose, "quarantine_until": until}, at=at, note=because, by=by)
    return tub


def carry(
    source: Culture,
    target: Culture,
    stage: str,
    number: int,
    *,
    males: int = 0,
    females: int = 0,
    at: datetime,
    note: str,
    by: Any,
) -> Entry:
    """Write both sides of animals carried from one tub into another, linked; the caller holds the lines' lock."""
    return transfers.carry(source, target, transfers.Animals(stage, number, males, females), at, by, note=note)
