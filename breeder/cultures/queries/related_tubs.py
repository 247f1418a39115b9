"""Sister tubs: filled from one another, tipped together, or with animals carried between them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Q
from django.utils import timezone

from breeder.cultures.models import Ancestry, Culture, Entry
from breeder.cultures.tub_ledger import void_ids


@dataclass(frozen=True)
class Sister:
    """A tub that shares animals with another: in words how, on which day last, and by way of which tub, if any."""

    tub: Culture
    how: str
    on: date
    by_way_of: int | None = None

    @property
    def is_open(self) -> bool:
        return self.tub.closed_on is None

    @property
    def may_quarantine(self) -> bool:
        """Return whether it can be put in quarantine: not when it is there already, and a mixed tub stays mixed."""
        return self.tub.purpose not in (Culture.Purpose.QUARANTINE, Culture.Purpose.MIXED)


@dataclass(frozen=True)
class _Tie:
    """What ties one tub to another, said of the other."""

    one: int
    other: int
    on: date
    how: str


def sisters_of(tub: Culture) -> list[Sister]:
    """Return the tubs that share animals with a tub, closed ones too: nearest first, then latest, then by number."""
    ties = sorted(_ties(tub), key=lambda tie: tie.on, reverse=True)
    found: dict[int, tuple[int, _Tie, int | None]] = {}
    edge, step = {tub.pk}, 0
    while edge:
        step, nearer = step + 1, edge
        edge = set()
        for tie in ties:
            if tie.one in nearer and tie.other not in {tub.pk, *found}:
                found[tie.other] = (step, tie, tie.one if step > 1 else None)
                edge.add(tie.other)
    tubs = Culture.objects.select_related("line__species").in_bulk([*found, tub.pk])
    return [
        Sister(tubs[pk], tie.how, tie.on, tubs[via].number if via else None)
        for pk, (step, tie, via) in sorted(
            found.items(), key=lambda pair: (pair[1][0], -pair[1][1].on.toordinal(), tubs[pair[0]].number)
        )
    ]


def _ties(tub: Culture) -> Iterator[_Tie]:
    """Yield the ties among the tubs of one line, and of the tub itself to tubs of other lines, both ways round."""
    of_line = Q(child__line_id=tub.line_id, parent__line_id=tub.line_id)
    for row in Ancestry.objects.filter(of_line | Q(child=tub) | Q(parent=tub)).order_by("on", "pk"):
        merged = row.kind == Ancestry.Kind.MERGE
        day = f"{row.on:%-d %B %Y}"
        yield _Tie(
            row.parent_id, row.child_id, row.on, f"took it in on {day}" if merged else f"filled from it on {day}"
        )
        yield _Tie(
            row.child_id, row.parent_id, row.on, f"tipped into it on {day}" if merged else f"it came from here on {day}"
        )
    for source, target, on in _moves(tub):
        yield _Tie(source, target, on, f"got animals from it on {on:%-d %B %Y}")
        yield _Tie(target, source, on, f"gave it animals on {on:%-d %B %Y}")


def _moves(tub: Culture) -> Iterable[tuple[int, int, date]]:
    of_line = Q(culture__line_id=tub.line_id, other_side__culture__line_id=tub.line_id)
    rows: Any = Entry.objects.filter(of_line | Q(culture=tub) | Q(other_side__culture=tub), reason=Entry.Reason.MOVED)
    rows = rows.filter(other_side__isnull=False).values_list(
        "pk", "other_side__culture_id", "culture_id", "happened_at"
    )
    moves = list(rows)
    tubs = {pk for _, source, target, _ in moves for pk in (source, target)}
    void = void_ids(Entry.objects.filter(culture_id__in=tubs, kind=Entry.Kind.CORRECT).only("pk", "corrects_id"))
    last: dict[tuple[int, int], date] = {}
    for pk, source, target, at in moves:
        if pk not in void:
            on = timezone.localdate(at)
            last[source, target] = max(on, last.get((source, target), on))
    return [(source, target, on) for (source, target), on in last.items()]


def left_since(tub: Culture, since: Any) -> list[tuple[Entry, int | None]]:
    """Return what left a tub since a moment, latest first, each with the tub that it went to, if it went to one."""
    out = Entry.objects.filter(culture=tub, number__lt=0, happened_at__gte=since)
    rows = list(out.order_by("-happened_at", "-pk"))
    void = void_ids(Entry.objects.filter(culture=tub, kind=Entry.Kind.CORRECT))
    to = dict(Entry.objects.filter(other_side__in=rows).values_list("other_side_id", "culture__number"))
    return [(row, to.get(row.pk)) for row in rows if row.pk not in void]
