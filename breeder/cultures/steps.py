"""Inner parts of actions: the lines' lock, animals set aside, the ledger. All need the caller's transaction."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from breeder.cultures import belief_store
from breeder.cultures.models import Culture, Entry, Promise
from breeder.species.steps import lock_lines as lock_lines


def set_aside(
    line_id: int,
    stage: str,
    number: int,
    *,
    at: datetime,
    males: int = 0,
    females: int = 0,
    culture_id: int | None = None,
    expires_at: datetime | None = None,
    paid_at: datetime | None = None,
) -> Promise:
    """Set animals aside; the caller holds the lines' lock and has checked that they can be spared."""
    return Promise.objects.create(
        line_id=line_id,
        stage=stage,
        number=number,
        males=males,
        females=females,
        culture_id=culture_id,
        made_at=at,
        expires_at=expires_at,
        paid_at=paid_at,
    )


def release(promise: Promise, *, at: datetime) -> None:
    """Give back what a promise still holds; a promise that has ended stays as it ended."""
    if promise.state == Promise.State.HELD:
        _end(promise, Promise.State.RELEASED, at)


def hold_anew(promise: Promise, *, at: datetime, expires_at: datetime | None) -> None:
    """Set aside again what a promise gave back, behind all promises made meanwhile.

    It stays the same promise, so that what was packed of it before is still known to be somebody's. The caller
    holds the lines' lock and has checked that it can be spared.
    """
    promise.state, promise.made_at, promise.expires_at, promise.ended_at = Promise.State.HELD, at, expires_at, None
    promise.save(update_fields=["state", "made_at", "expires_at", "ended_at"])


def mark_paid(promise: Promise, *, at: datetime) -> None:
    """Note that a promise is paid for: it no longer runs out."""
    promise.paid_at, promise.expires_at = at, None
    promise.save(update_fields=["paid_at", "expires_at"])


def resize(promise: Promise, number: int, *, males: int = 0, females: int = 0) -> None:
    """Let a promise hold another number, keeping its place in the order of promises.

    The caller holds the lines' lock and has checked that what is more can be spared.
    """
    promise.number, promise.males, promise.females = number, males, females
    promise.save(update_fields=["number", "males", "females"])


def hold_until(promise: Promise, expires_at: datetime | None) -> None:
    """Let an unpaid promise run out at another time, or with None never; a paid one never runs out."""
    if promise.paid_at is None:
        promise.expires_at = expires_at
        promise.save(update_fields=["expires_at"])


def name_tub(promise: Promise, culture_id: int | None) -> None:
    """Let a promise come out of another tub, or of any tub of its line; the caller holds the lines' lock."""
    promise.culture_id = culture_id
    promise.save(update_fields=["culture_id"])


def finish(promise: Promise, *, at: datetime) -> None:
    """End a promise whose animals are packed; what it still held, overcount that did not go, is free again."""
    if promise.state == Promise.State.HELD:
        _end(promise, Promise.State.PACKED, at)


def pack_from(
    culture: Culture,
    stage: str,
    number: int,
    *,
    promise: Promise | None,
    at: datetime,
    by: Any,
    males: int = 0,
    females: int = 0,
) -> Entry:
    """Take animals out of a tub for a parcel and out of what their promise holds, so that what is free stays."""
    entry = write_entry(
        culture,
        Entry.Kind.CHANGE,
        stage=stage,
        number=-number,
        reason=Entry.Reason.PACKED,
        males=-males if males or females else None,
        females=-females if males or females else None,
        promise=promise,
        happened_at=at,
        by=by,
    )
    if promise is not None and promise.state == Promise.State.HELD:
        take_off(promise, number, males, females, at)
    return entry


@dataclass(frozen=True)
class Rest:
    """What is left of a promise after some of it was packed."""

    number: int
    males: int
    females: int


def left_of(promise: Promise, number: int, males: int, females: int) -> Rest:
    """Return what a promise holds after `number` were packed; the sexes never exceed what is held in all."""
    left = max(0, promise.number - number)
    still_males = min(max(0, promise.males - males), left)
    return Rest(left, still_males, min(max(0, promise.females - females), left - still_males))


def take_off(promise: Promise, number: int, males: int, females: int, at: datetime) -> None:
    """Take what was packed off what a promise still holds; one that holds nothing more is packed."""
    left = left_of(promise, number, males, females)
    promise.number, promise.males, promise.females = left.number, left.males, left.females
    if not left.number:
        promise.state, promise.ended_at = Promise.State.PACKED, at
    promise.save(update_fields=["number", "males", "females", "state", "ended_at"])


def _end(promise: Promise, state: Promise.State, at: datetime) -> None:
    promise.state, promise.ended_at = state, at
    promise.save(update_fields=["state", "ended_at"])


def write_entry(culture: Culture, kind: str, *, happened_at: datetime, by: Any, **fields: Any) -> Entry:
    """Write one fact into the ledger and bring what the book believes of its tub up to date."""
    entry = add_entry(culture, kind, happened_at=happened_at, by=by, **fields)
    belief_store.bring_up_to_date([culture.pk])
    return entry


def add_entry(culture: Culture, kind: str, *, happened_at: datetime, by: Any, **fields: Any) -> Entry:
    """Write one of several facts into the ledger; after the last, the caller replays the tubs."""
    return Entry.objects.create(
        culture=culture, kind=kind, happened_at=happened_at, recorded_at=timezone.now(), by=by, **fields
    )
