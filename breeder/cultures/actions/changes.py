"""Exact changes: animals that died, were culled, received, returned, or moved from one tub to another."""

from datetime import datetime
from typing import Any

from django.db import transaction

from breeder.base.models import Photo
from breeder.cultures import frozen_lines, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import Recorded
from breeder.cultures.actions.states import LOST_IN
from breeder.cultures.actions.transfers import Animals, carry
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Belief, Culture, Entry

# Packing is written by the packing bench, moving by move_animals, which keeps its two sides together.
COMING_IN = (Entry.Reason.RECEIVED, Entry.Reason.RETURNED)
GOING_OUT = (Entry.Reason.DIED, Entry.Reason.CULLED)


def record_change(
    culture_id: int,
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
    token: str = "",
    answer: str = "",
) -> Recorded:
    """Record that a whole number of animals died, was culled, was received or came back. Never refused for its size.

    Culling a frozen line asks for its name (`named`).
    """
    sign = _sign_of(reason)
    line_lock.check_number("number", number)
    line_lock.check_sexes(number, males, females)
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([culture_id])
        tub = this.tubs[culture_id]
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
        return this.recorded(entry, token=token, answer=answer, more=_more_than_known(entry))


def move_animals(
    from_id: int,
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
    token: str = "",
    answer: str = "",
) -> Recorded:
    """Record that animals were carried from one tub into another; both sides are written, linked.

    Carrying animals of a frozen line out of it asks for its name (`named`).
    """
    line_lock.check_number("number", number)
    line_lock.check_sexes(number, males, females)
    if from_id == to_id:
        raise BadFact({"to": "The animals would go back into the tub that they came from. Choose another tub."})
    with transaction.atomic(durable=True):
        this = line_lock.lock_tubs([from_id, to_id])
        source, target = this.tubs[from_id], this.tubs[to_id]
        if leaves_line(source, target):
            frozen_lines.require_named([source.line], [named], "to carry animals out of")
        at = max(line_lock.check_time(source, happened_at), line_lock.check_time(target, happened_at))
        some = Animals(stage, number, males, females)
        out = carry(source, target, some, at, by, note=note)
        return this.recorded(out, token=token, answer=answer, more=[*_more_than_known(out), *mixing(source, target)])


def _more_than_known(entry: Entry) -> list[str]:
    """Return that more left a tub than the book knew of; where it knew nothing there is nothing to say."""
    held = Belief.objects.filter(culture=entry.culture, stage=entry.stage).first()
    left = -(entry.number or 0)
    known = 0 if held is None else round(held.middle + held.moved + left)
    if held is None or left <= known or known <= 0:
        return []
    return [
        f"The book knew of about {known} {entry.stage} in tub {entry.culture.number}, and {left} left it. Count the "
        "tub, or take the entry back under ‘Wrong?’ if it was a slip."
    ]


def leaves_line(source: Culture, target: Culture) -> bool:
    """Return whether animals moved between these tubs are lost to their line."""
    return target.purpose in LOST_IN and source.purpose != target.purpose or source.line_id != target.line_id


def mixing(source: Culture, target: Culture) -> list[str]:
    """Return what a move between these tubs does to the truth of a line."""
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


def _sign_of(reason: str) -> int:
    if reason in COMING_IN:
        return 1
    if reason in GOING_OUT:
        return -1
    raise BadFact({"reason": f"“{reason}” is not a reason here. Choose one of: {', '.join((*GOING_OUT, *COMING_IN))}."})
