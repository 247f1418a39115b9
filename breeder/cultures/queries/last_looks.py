"""When each tub was last looked into, and what was seen: one step down an index a tub, however long its ledger."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import JSONField, OuterRef, Q, QuerySet, Subquery, Value

from breeder.cultures.models import Culture, Entry
from breeder.cultures.tub_ledger import void_ids

CORRECTS = ("pk", "corrects_id")
SEEN_BY = (Entry.Kind.LOOKED, Entry.Kind.COUNT)


@dataclass(frozen=True)
class LastLook:
    """When a tub was last seen, by a look or a count that stands; and the last look alone, with what was seen."""

    seen_at: datetime | None = None
    look_at: datetime | None = None
    seen: tuple[str, ...] = ()


NEVER = LastLook()


def last_looks(tubs: QuerySet[Culture], *, with_seen: bool = True) -> dict[int, LastLook]:
    """Return the last look of each of these tubs that was ever seen, by its row, in three queries.

    What was seen is left out without `with_seen`.

    Most entries were never corrected: of those the newest is read for each tub. The few that a correction names, and
    that stand all the same since it was corrected too, are read beside them.
    """
    counts, looks = _newest(Entry.Kind.COUNT), _newest(Entry.Kind.LOOKED)
    rows = (
        Culture.objects.order_by()
        .filter(pk__in=tubs.order_by().values("pk"))
        .annotate(
            counted=Subquery(counts.values("happened_at")[:1]),
            looked=Subquery(looks.values("happened_at")[:1]),
            given=Subquery(looks.values("given")[:1]) if with_seen else Value(None, JSONField()),
        )
    )
    found = {
        pk: LastLook(_later(counted, looked), looked, tuple((given or {}).get("seen", ())))
        for pk, counted, looked, given in rows.values_list("pk", "counted", "looked", "given")
    }
    for entry in _standing_again():
        if (last := found.get(entry.culture_id)) is not None:
            found[entry.culture_id] = _with(last, entry)
    return {pk: last for pk, last in found.items() if last.seen_at}


def _newest(kind: Entry.Kind) -> QuerySet[Entry]:
    of_tub = Entry.objects.filter(culture=OuterRef("pk"), kind=kind, corrections=None)
    return of_tub.order_by("-happened_at", "-pk")


def _standing_again() -> list[Entry]:
    """Return the looks and counts that were corrected and stand all the same, oldest first."""
    corrections = list(Entry.objects.order_by().filter(kind=Entry.Kind.CORRECT).values_list(*CORRECTS, named=True))
    named = {one.corrects_id for one in corrections} - void_ids(corrections) - {None}
    if not named:
        return []
    return list(Entry.objects.filter(Q(kind__in=SEEN_BY), pk__in=named).order_by("happened_at", "pk"))


def _with(last: LastLook, entry: Entry) -> LastLook:
    seen_at = _later(last.seen_at, entry.happened_at)
    if entry.kind != Entry.Kind.LOOKED or _later(last.look_at, entry.happened_at) != entry.happened_at:
        return LastLook(seen_at, last.look_at, last.seen)
    return LastLook(seen_at, entry.happened_at, tuple(entry.given.get("seen", ())))


def _later(one: Any, other: Any) -> Any:
    """Return the later of two moments, either of which may be none."""
    return max((at for at in (one, other) if at), default=None)
