"""Exact changes: animals that died, were culled, received, returned, or moved from one tub to another."""

from datetime import datetime
from typing import Any

from breeder.base.action_frame import action
from breeder.base.models import Photo
from breeder.cultures import frozen_lines, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.actions.states import LOST_IN
from breeder.cultures.actions.transfers import Animals, carry
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Belief, Culture, Entry

# Packing is written by the packing bench, moving by move_animals, which keeps its two sides together.
COMING_IN = (Entry.Reason.RECEIVED, Entry.Reason.RETURNED)
GOING_OUT = (Entry.Reason.DIED, Entry.Reason.CULLED)


@action(lock=line_lock.lock_tub)
def record_change(
    locked: LockedTubs,
    stage: str,
    number: int,
    reason: str,
    *,
    males: int = 0,
    females: int = 0,
    happened_at: datetime | None = None,
    note: str = "",
    named: str = "",
    photo: Photo | None = None,
    by: Any,
) -> Recorded:
    """Record that a whole number of animals died, was culled, was received or came back. Never refused for its size.

    Culling a frozen line asks for its name (`named`).
    """
    sign, tub = _sign(reason), locked.first
    line_lock.check_number("number", number)
    line_lock.check_sexes(number, males, females)
    if reason == Entry.Reason.CULLED:
        frozen_lines.require_named([tub.line], [named], "to cull from")
    entry = steps.write_entry(
        tub,
        Entry.Kind.CHANGE,
        stage=line_lock.check_stage(tub.line, stage),
        number=sign * number,
        reason=reason,
        happened_at=line_lock.check_time(tub, happened_at),
        note=note,
        photo=photo,
        by=by,
        **line_lock.signed_sexes(sign, males, females),
    )
    return locked.recorded(entry, more=_more_than_known(entry))


@action(lock=line_lock.lock_both_tubs)
def move_animals(
    locked: LockedTubs,
    to_id: int,
    stage: str,
    number: int,
    *,
    males: int = 0,
    females: int = 0,
    happened_at: datetime | None = None,
    note: str = "",
    named: str = "",
    by: Any,
) -> Recorded:
    """Record that animals were carried from one tub into another; both sides are written, linked.

    Carrying animals of a frozen line out of it asks for its name (`named`).
    """
    line_lock.check_number("number", number)
    line_lock.check_sexes(number, males, females)
    source, target = locked.first, locked.tubs[to_id]
    if source == target:
        raise BadFact({"to": "The animals would go back into the tub that they came from. Choose another tub."})
    if _leaves_line(source, target):
        frozen_lines.require_named([source.line], [named], "to carry animals out of")
    at = max(line_lock.check_time(source, happened_at), line_lock.check_time(target, happened_at))
    out = carry(source, target, Animals(stage, number, males, females), at, by, note=note)
    return locked.recorded(out, more=[*_more_than_known(out), *_mixed_lines(source, target)])


def _more_than_known(entry: Entry) -> list[str]:
    """Return that more left a tub than the book knew of; where it knew nothing there is nothing to say."""
    belief = Belief.objects.filter(culture=entry.culture, stage=entry.stage).first()
    gone = -(entry.number or 0)
    known = 0 if belief is None else round(belief.middle + belief.moved + gone)
    if belief is None or gone <= known or known <= 0:
        return []
    return [
        f"The book knew of about {known} {entry.stage} in tub {entry.culture.number}, and {gone} left it. Count the "
        "tub, or take the entry back under ‘Wrong?’ if it was a slip."
    ]


def _leaves_line(source: Culture, target: Culture) -> bool:
    """Return whether animals moved between these tubs are lost to their line."""
    return target.purpose in LOST_IN and source.purpose != target.purpose or source.line_id != target.line_id


def _mixed_lines(source: Culture, target: Culture) -> list[str]:
    """Return that a tub is no longer true to its line after a move from another."""
    if target.purpose == Culture.Purpose.MIXED:
        return []
    if source.purpose == Culture.Purpose.MIXED:
        return [
            f"Tub {target.number} now holds animals of a mixed tub, so it is no longer true to {target.line}. "
            "Set its purpose to mixed, or correct this entry."
        ]
    if source.line_id != target.line_id:
        return [
            f"Tub {target.number} of {target.line} now holds animals of {source.line}, so it is no longer true. "
            "Set its purpose to mixed, or correct this entry."
        ]
    return []


def _sign(reason: str) -> int:
    if reason in COMING_IN:
        return 1
    if reason in GOING_OUT:
        return -1
    raise BadFact({"reason": f"“{reason}” is not a reason here. Choose one of: {', '.join((*GOING_OUT, *COMING_IN))}."})
