"""Mistakes: an entry takes back a wrong entry, which stays in the book, struck through."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils import timezone

from breeder.base.action_frame import action
from breeder.cultures import belief_store, eye_bias, steps, tub_ledger
from breeder.cultures.actions import line_lock
from breeder.cultures.actions.line_lock import LockedTubs, Recorded
from breeder.cultures.actions.states import NEVER_BACK, apply_state
from breeder.cultures.count_entry import BadFact
from breeder.cultures.models import Ancestry, Culture, Entry, Promise


@dataclass(frozen=True)
class LockedEntries(LockedTubs):
    """An entry that is wrong, and those that stand or fall with it, with their tubs."""

    wrong: Entry
    entries: list[Entry]


def _lock_entries(entry_id: int, **_: Any) -> LockedEntries:
    locked = line_lock.lock_tubs(entry.culture_id for entry in _bound_entries(entry_id))
    entries = _bound_entries(entry_id)
    wrong = next(entry for entry in entries if entry.pk == entry_id)
    return LockedEntries(locked.tubs, locked.before, wrong, entries)


@action(lock=_lock_entries)
def correct_entry(locked: LockedEntries, *, note: str = "", by: Any) -> Recorded:
    """Put an entry right by one that takes it back, with the other side of a move; a correction can be taken back too.

    What really happened, if anything did, is then recorded as an entry of its own.
    """
    _check(locked.wrong)
    written: list[Entry] = []
    for entry in locked.entries:
        written.append(_take_back(locked.tubs[entry.culture_id], entry, written[:1], note, by))
    belief_store.bring_up_to_date(locked.tubs)
    for entry in written:
        eye_bias.follow(entry)
    more = [sentence for entry in locked.entries for sentence in _follow(locked.tubs[entry.culture_id], entry)]
    correction = next(entry for entry in written if entry.corrects_id == locked.wrong.pk)
    return locked.recorded(correction, more=more)


def _bound_entries(entry_id: int) -> list[Entry]:
    """Return an entry and those that stand or fall with it: the other side of a move, the closing of a merged tub."""
    entry = Entry.objects.filter(pk=entry_id).first()
    if entry is None:
        raise BadFact("This entry is not in the book. Go back to the tub and choose the entry again.")
    root = entry.other_side_id or entry.pk
    together = Q(pk=root) | Q(other_side_id=root)
    if closing := entry.given.get("closing", entry.pk if entry.kind == Entry.Kind.STATE else None):
        together |= Q(pk=closing) | Q(given__closing=closing)
    return list(Entry.objects.filter(together).order_by("pk"))


def _check(wrong: Entry) -> None:
    if is_void(wrong):
        raise BadFact("This entry was put right already. To take that back, correct the correction.")
    if wrong.kind == Entry.Kind.STATE and wrong.given.get("set", {}).get("purpose") == Culture.Purpose.MIXED:
        _check_mixed(wrong)


def _check_mixed(wrong: Entry) -> None:
    """A slip of the finger may be taken back; a tub that took in other animals as a mixed tub stays one."""
    came_in = Entry.objects.filter(culture_id=wrong.culture_id, number__gt=0, recorded_at__gte=wrong.recorded_at)
    if came_in.exists():
        raise BadFact(NEVER_BACK.format(number=wrong.culture.number))


def is_void(entry: Entry) -> bool:
    """Return whether an entry was put right by a correction that stands."""
    corrections = Entry.objects.filter(culture_id=entry.culture_id, kind=Entry.Kind.CORRECT)
    return entry.pk in tub_ledger.void_ids(corrections)


def _take_back(tub: Culture, entry: Entry, first: list[Entry], note: str, by: Any) -> Entry:
    now = timezone.now()
    return Entry.objects.create(
        culture=tub,
        kind=Entry.Kind.CORRECT,
        stage=entry.stage,
        corrects=entry,
        other_side=first[0] if first else None,
        happened_at=now,
        recorded_at=now,
        note=note,
        by=by,
    )


def _follow(tub: Culture, entry: Entry) -> list[str]:
    """Bring along what else an entry had set: the tub's own row, and what a promise still holds."""
    stands, fact = True, entry
    while fact.kind == Entry.Kind.CORRECT and fact.corrects is not None:
        stands, fact = not stands, fact.corrects
    # `entry` has just been taken back: a fact itself falls, one that its correction had taken back stands again.
    stands = not stands
    if fact.kind == Entry.Kind.STATE:
        apply_state(tub, _state_now(fact))
        _follow_ancestry(tub, fact, stands)
    if fact.promise is None:
        return []
    return _hold_again(fact.promise, fact, stands)


def _state_now(fact: Entry) -> dict[str, Any]:
    """Return what a tub's row says of what a state entry set: by the last that stands, else as it was before the first.

    The entry itself need not be the last: a reason taken back must not take along the crash that came after it. A tub
    that is mixed by any entry that stands stays so.
    """
    states = list(Entry.objects.filter(culture_id=fact.culture_id, kind=Entry.Kind.STATE).order_by("pk"))
    void = tub_ledger.void_ids(Entry.objects.filter(culture_id=fact.culture_id, kind=Entry.Kind.CORRECT))
    values: dict[str, Any] = {}
    for name in fact.given["set"]:
        setting = [state.given for state in states if name in state.given["set"]]
        standing = [state.given["set"][name] for state in states if state.pk not in void and name in state.given["set"]]
        mixed = name == "purpose" and Culture.Purpose.MIXED.value in standing
        last = standing[-1] if standing else setting[0]["before"][name]
        values[name] = Culture.Purpose.MIXED.value if mixed else last
    return values


def _follow_ancestry(tub: Culture, closing: Entry, stands: bool) -> None:
    """A tub that was not tipped into another after all is no parent of it."""
    if into := closing.given.get("into"):
        merge = {"child_id": into, "parent": tub, "on": timezone.localdate(closing.happened_at)}
        if stands:
            Ancestry.objects.get_or_create(**merge, defaults={"kind": Ancestry.Kind.MERGE})
        else:
            Ancestry.objects.filter(**merge, kind=Ancestry.Kind.MERGE).delete()


def _hold_again(promise: Promise, packing: Entry, stands: bool) -> list[str]:
    """Bring what a promise holds back to before a packing that was none, or to after one that was one after all."""
    if promise.state != Promise.State.HELD:
        return ["The promise that this packing filled has ended, so it does not hold the animals again."]
    number, males, females = (-(part or 0) for part in (packing.number, packing.males, packing.females))
    if stands:
        steps.take_off(promise, number, males, females, timezone.now())
        return []
    promise.number += number
    promise.males += males
    promise.females += females
    promise.save(update_fields=["number", "males", "females"])
    return []
