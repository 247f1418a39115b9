"""A visit of the round: what was seen, guessed and picked out at one tub, written together; or a whole sheet."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from breeder.base.action_frame import action
from breeder.base.models import Photo
from breeder.cultures import belief_store, count_entry, eye_bias, steps
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.counts import LOOKED, check_choices
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Culture, Entry, OwnError

# The dead are picked out before the living are guessed at, so the guess does not lose them once more.
PICKED_OUT_BEFORE = timedelta(seconds=1)


@dataclass(frozen=True)
class Visit:
    """What was found at one tub: flags seen, size classes by eye and dead animals by stage, a note."""

    culture_id: int
    seen: tuple[str, ...] = ()
    eye: tuple[tuple[str, str], ...] = ()
    died: tuple[tuple[str, int], ...] = ()
    note: str = ""


class BadRound(BadFact):
    """Some visits cannot have happened as typed; `by_tub` holds the sentences by the tub's row."""

    def __init__(self, by_tub: dict[int, list[str]]) -> None:
        self.by_tub = by_tub
        super().__init__([sentence for sentences in by_tub.values() for sentence in sentences])


@dataclass(frozen=True)
class LockedRound(LockedTubs):
    """The visits of a round, with their tubs."""

    visits: Sequence[Visit]


def _lock_round(visits: Sequence[Visit], **_: Any) -> LockedRound:
    if not visits:
        raise BadFact("Nothing was written down. Fill in at least one tub.")
    locked = line_lock.lock_tubs([visit.culture_id for visit in visits])
    return LockedRound(locked.tubs, locked.before, visits)


@action(lock=_lock_round)
def record_round(
    locked: LockedRound, *, happened_at: datetime | None = None, photo: Photo | None = None, by: Any
) -> Recorded:
    """Record visits of the round, all of them or none; the entry that is returned is the first visit's.

    Of each visit the count by eye, the look and the deaths stand and fall together. Raises BadRound.
    """
    own_error = eye_bias.in_use(by, "eye")
    written, faults = [], {}
    for visit in locked.visits:
        try:
            written.append(_write(locked.tubs[visit.culture_id], visit, happened_at, photo, by, own_error))
        except BadFact as fault:
            faults[visit.culture_id] = fault.messages
    if faults:
        raise BadRound(faults)
    belief_store.bring_up_to_date(locked.tubs)
    return locked.recorded(written[0])


def _write(
    tub: Culture, visit: Visit, happened_at: datetime | None, photo: Photo | None, by: Any, own_error: OwnError | None
) -> Entry:
    at = line_lock.check_time(tub, happened_at)
    root: Entry | None = None
    for kind, fields in (*_counts(tub, visit.eye, at, own_error), *_look(visit, photo, at), *_deaths(tub, visit, at)):
        first = {"note": visit.note, "photo": photo} if root is None else {"other_side": root}
        entry = steps.add_entry(tub, kind, by=by, **fields, **first)
        root = root or entry
        eye_bias.follow(entry)
    if root is None:
        raise BadFact("Nothing was tapped. Tap ‘Looked, all well’, a size class, or what was seen.")
    return root


Facts = Iterable[tuple[str, dict[str, Any]]]


def _counts(tub: Culture, eye: Iterable[tuple[str, str]], at: datetime, own_error: OwnError | None) -> Facts:
    for stage, words in eye:
        given = eye_bias.kept_with(count_entry.eye_class(words), own_error)
        count = count_entry.counted("eye", given)
        figures = {name: getattr(count, name) for name in ("estimate", "lower", "log_sd", "shared_sd")}
        kept = {"stage": line_lock.check_stage(tub.line, stage), "method": "eye", "given": given, "happened_at": at}
        yield Entry.Kind.COUNT, kept | figures


def _look(visit: Visit, photo: Photo | None, at: datetime) -> Facts:
    """A look is written where something was seen, or where nothing else would say that somebody was there."""
    flags = check_choices("seen", visit.seen, LOOKED) if visit.seen else []
    if visit.died and not visit.eye and not flags:
        flags = ["dead"]
    if flags or ((visit.note or photo) and not visit.eye):
        yield Entry.Kind.LOOKED, {"given": {"seen": flags}, "happened_at": at}


def _deaths(tub: Culture, visit: Visit, at: datetime) -> Facts:
    when = at - PICKED_OUT_BEFORE if visit.eye else at
    for stage, number in visit.died:
        line_lock.check_number("died", number)
        reason = {"reason": Entry.Reason.DIED, "number": -number, "happened_at": when}
        yield Entry.Kind.CHANGE, {"stage": line_lock.check_stage(tub.line, stage)} | reason
