"""Tubs begin, are split, tipped together, and end; a number is never used again."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from breeder.base.action_frame import action
from breeder.cultures import frozen_lines, rules, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.actions.states import LOST_IN, write_state
from breeder.cultures.actions.transfers import Animals, carry, tip_over
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Ancestry, Culture, Entry
from breeder.cultures.queries.stock import held_promises, stock_by_line
from breeder.species.models import Line

NUMBER_TRIES = 20  # two tubs begun in one moment may want the same next number


@dataclass(frozen=True)
class Place:
    """Where a tub stands, and what it is for."""

    shelf: str
    place_on_shelf: int = 1
    litres: Any = None
    purpose: str = Culture.Purpose.BREEDING.value
    quarantine_until: date | None = None
    note: str = ""


def _lock_open_line(line_id: int, *_: Any, **__: Any) -> Line:
    line = line_lock.lock_line(line_id)
    _check_open(line)
    return line


@action(lock=_lock_open_line)
def start_tub(
    line: Line,
    place: Place,
    *,
    received: tuple[Animals, ...] = (),
    started_on: date | None = None,
    note: str = "",
    by: Any,
) -> Recorded:
    """Begin a tub under the next free number, with the animals received into it; without any it waits for its count."""
    _check_animals(received)
    before = stock_by_line([line.pk])
    tub = new_tub(line, place, started_on or timezone.localdate())
    at = _first_moment(tub)
    entry = write_state(tub, {"purpose": tub.purpose}, at=at, note=note, by=by)
    for animals in received:
        steps.write_entry(
            tub,
            Entry.Kind.CHANGE,
            stage=line_lock.check_stage(line, animals.stage),
            number=animals.number,
            reason=Entry.Reason.RECEIVED,
            happened_at=at,
            by=by,
            **line_lock.signed_sexes(+1, animals.males, animals.females),
        )
    return LockedTubs({tub.pk: tub}, before).recorded(entry)


@action(lock=line_lock.lock_tub)
def split_tub(
    locked: LockedTubs,
    place: Place,
    *,
    share: float | None = None,
    moved: tuple[Animals, ...] = (),
    happened_at: datetime | None = None,
    note: str = "",
    named: str = "",
    by: Any,
) -> Recorded:
    """Begin a new tub out of another: by animals counted over, or by tipping about a share (half is 0.5) of it over."""
    _check_share(share, moved)
    _check_animals(moved)
    parent = locked.first
    _check_open(parent.line)
    if place.purpose in LOST_IN and parent.purpose != place.purpose:
        frozen_lines.require_named([parent.line], [named], "to show or mix animals of")
    _check_mixed(parent, place)
    at = line_lock.check_time(parent, happened_at)
    on = timezone.localdate(at)
    child = new_tub(parent.line, place, on)
    Ancestry.objects.create(child=child, parent=parent, kind=Ancestry.Kind.SPLIT, on=on)
    entry = write_state(child, {"purpose": child.purpose}, at=at, note=note, by=by)
    if share is not None:
        for stage in line_lock.kept_stages(parent.line):
            tip_over(parent, child, stage, share, at, by)
    for animals in moved:
        carry(parent, child, animals, at, by)
    return locked.recorded(entry)


@action(lock=line_lock.lock_both_tubs)
def merge_tubs(
    locked: LockedTubs, into_id: int, *, happened_at: datetime | None = None, note: str = "", named: str = "", by: Any
) -> Recorded:
    """Tip one tub wholly into another and close it. Only a mixed tub may take in animals of another line.

    A tub of a frozen line asks for the line's name (`named`).
    """
    source, target = locked.first, locked.tubs[into_id]
    _check_merge(source, target)
    frozen_lines.require_named([source.line], [named], "to tip away a tub of")
    at = max(line_lock.check_time(source, happened_at), line_lock.check_time(target, happened_at))
    on = timezone.localdate(at)
    Ancestry.objects.get_or_create(child=target, parent=source, on=on, defaults={"kind": Ancestry.Kind.MERGE})
    note = note or f"Tipped into tub {target.number}."
    closing = write_state(source, {"closed_on": on}, at=at, note=note, by=by, into=target.pk)
    for stage in line_lock.kept_stages(source.line):
        tip_over(source, target, stage, 1.0, at, by, closing=closing.pk)
    return locked.recorded(closing, more=[*_moved_promises(source), *_for_sale_again(source, target)])


@action(lock=line_lock.lock_tub)
def close_tub(
    locked: LockedTubs, *, reason: str, happened_at: datetime | None = None, named: str = "", by: Any
) -> Recorded:
    """Close a tub for good, with the reason; what the book relied on in it is no longer counted.

    A tub of a frozen line asks for the line's name (`named`).
    """
    if not reason.strip():
        raise BadFact({"reason": "Closing a tub needs a reason, such as “died out” or “moved to tub 9”. Write why."})
    tub = locked.first
    frozen_lines.require_named([tub.line], [named], "to close a tub of")
    at = line_lock.check_time(tub, happened_at)
    relied = rules.relied_on(locked.before[tub.line_id], tub.pk)
    entry = write_state(tub, {"closed_on": timezone.localdate(at)}, at=at, note=reason.strip(), by=by)
    more = [f"The book still relied on {relied} in tub {tub.number}; they no longer count."] if relied else []
    return locked.recorded(entry, more=[*more, *_moved_promises(tub)])


def _check_open(line: Line) -> None:
    if not line.is_open:
        raise BadFact({"line": f"{line} is closed, so no tub can be begun in it. Choose an open line."})


def new_tub(line: Line, place: Place, started_on: date) -> Culture:
    """Make a tub under the next free number, inside the caller's transaction."""
    _check_place(place)
    if started_on > timezone.localdate():
        fault = f"“Started on” is {started_on:%-d %B %Y}, which has not come yet. Give today or an earlier day."
        raise BadFact({"started_on": fault})
    for _ in range(NUMBER_TRIES):
        number = (Culture.objects.aggregate(last=Max("number"))["last"] or 0) + 1
        try:
            with transaction.atomic():
                return Culture.objects.create(number=number, line=line, started_on=started_on, **vars(place))
        except IntegrityError:  # another tub took this number in the same moment
            continue
    raise BadFact("Many tubs are being begun at this moment. Try once more.")


def _check_place(place: Place) -> None:
    if place.purpose not in Culture.Purpose.values:
        known = ", ".join(Culture.Purpose.values)
        raise BadFact({"purpose": f"“{place.purpose}” is not a purpose. Choose one of: {known}."})
    if not place.shelf.strip():
        raise BadFact({"shelf": "The tub needs a shelf, such as A or 2, so that the round comes past it. Write one."})


def _check_mixed(parent: Culture, place: Place) -> None:
    """A tub out of a mixed tub is a mixed tub too, whatever was asked."""
    if parent.purpose == Culture.Purpose.MIXED and place.purpose != Culture.Purpose.MIXED:
        raise BadFact(
            {"purpose": f"Tub {parent.number} is a mixed tub, so a tub filled from it is one too. Choose “mixed”."}
        )


def _first_moment(tub: Culture) -> datetime:
    """Return the moment that a new tub's first entries bear: now, or the first of its starting day."""
    now = timezone.now()
    if tub.started_on == timezone.localdate(now):
        return now
    return timezone.make_aware(datetime.combine(tub.started_on, datetime.min.time()))


def _check_animals(received: tuple[Animals, ...]) -> None:
    for animals in received:
        line_lock.check_number("number", animals.number)
        line_lock.check_sexes(animals.number, animals.males, animals.females)


def _check_share(share: float | None, moved: tuple[Animals, ...]) -> None:
    if (share is None) == (not moved):
        raise BadFact({"share": "Say either which share was tipped over, or how many animals were counted over."})
    if share is not None and not 0 < share < 1:
        raise BadFact({"share": f"“Share” is {share:g}, but it must lie between 0 and 1. Half a tub is 0.5."})


def _check_merge(source: Culture, target: Culture) -> None:
    if source == target:
        raise BadFact({"into": "A tub cannot be tipped into itself. Choose another tub."})
    if target.purpose == Culture.Purpose.MIXED:
        return
    if source.purpose == Culture.Purpose.MIXED:
        fault = f"Tub {source.number} is a mixed tub, and tub {target.number} is not. Tip it into a mixed tub."
        raise BadFact({"into": fault})
    if source.line_id != target.line_id:
        lines = f"Tub {source.number} holds {source.line} and tub {target.number} {target.line}."
        raise BadFact({"into": f"{lines} Tip it into a tub of its own line, or into a mixed tub."})


def _for_sale_again(source: Culture, target: Culture) -> list[str]:
    """Return that animals kept out of sale, after a crash perhaps, are now in a tub that is sold from."""
    if not source.not_for_sale or target.not_for_sale:
        return []
    return [
        f"Tub {source.number} was not for sale ({source.not_for_sale.rstrip('.')}), and its animals are now in tub "
        f"{target.number}, which is sold from. Keep that out of sale too, if the reason goes with them."
    ]


def _moved_promises(tub: Culture) -> list[str]:
    """Return what becomes of promises that name a tub that is closed: the line holds them from its other tubs."""
    held = sum(promise.number for promise in held_promises(timezone.now()).filter(culture=tub))
    if not held:
        return []
    return [f"{held} promised out of tub {tub.number} are now to come from the line's other tubs."]
