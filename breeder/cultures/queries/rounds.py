"""The count round: open tubs in shelf order, and which of them somebody looked into on a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q
from django.utils import timezone

from breeder.cultures.models import Culture, Entry
from breeder.cultures.tub_ledger import void_ids

# What the person did last stays open to "undo" this long; after it a mistake is put right on the tub's page.
UNDO_FOR = timedelta(minutes=30)
DONE_BY = (Entry.Kind.LOOKED, Entry.Kind.COUNT)


@dataclass(frozen=True)
class Stop:
    """One tub of the round."""

    culture_id: int
    number: int
    shelf: str
    done: bool


@dataclass(frozen=True)
class Round:
    """The open tubs in shelf order."""

    stops: tuple[Stop, ...]

    @property
    def done(self) -> int:
        return sum(stop.done for stop in self.stops)

    def place_of(self, number: int) -> int | None:
        """Return where a tub stands in the round, counted from 1; None for a tub that is not on it."""
        return next((place for place, stop in enumerate(self.stops, start=1) if stop.number == number), None)

    def is_done(self, number: int) -> bool:
        """Return whether somebody looked into a tub already."""
        return any(stop.done for stop in self.stops if stop.number == number)

    def first_to_do(self) -> Stop | None:
        """Return the first tub that nobody has looked into yet."""
        return next(iter(self.to_do), None)

    def next_after(self, number: int) -> Stop | None:
        """Return the next tub to do after this one, going round once; None when all others are done."""
        here = self.place_of(number) or 0
        onwards = (*self.stops[here:], *self.stops[:here])
        return next((stop for stop in onwards if not stop.done and stop.number != number), None)

    def before(self, number: int) -> Stop | None:
        """Return the tub before this one on the shelf; None for the first."""
        here = self.place_of(number)
        return self.stops[here - 2] if here and here > 1 else None

    @property
    def to_do(self) -> tuple[Stop, ...]:
        """Return the tubs that nobody has looked into yet, those that were skipped too."""
        return tuple(stop for stop in self.stops if not stop.done)


def round_of(day: date) -> Round:
    """Return the round of a day: every open tub in shelf order, done when a look or a count of that day stands."""
    done = looked_into_on(day)
    tubs = Culture.objects.filter(closed_on=None)
    return Round(tuple(Stop(tub.pk, tub.number, tub.shelf, tub.pk in done) for tub in tubs))


def looked_into_on(day: date) -> set[int]:
    """Return the rows of the tubs of which a look or a count of that day stands."""
    start = timezone.make_aware(datetime.combine(day, time.min))
    within = Entry.objects.filter(happened_at__gte=start, happened_at__lt=start + timedelta(days=1))
    entries = list(within.filter(kind__in=DONE_BY).only("pk", "culture_id"))
    corrections = Entry.objects.filter(kind=Entry.Kind.CORRECT, happened_at__gte=start).only("pk", "corrects_id")
    void = void_ids(corrections)
    return {entry.culture_id for entry in entries if entry.pk not in void}


def sheet_of(day: date, *, shelf: str = "", also: Iterable[int] = ()) -> list[tuple[Culture, bool]]:
    """Return the tubs that stood on the shelves on a day, in the order of the printed sheet, and which are done.

    `also` are numbers that somebody wrote something for, whether they stood there or not.
    """
    there = Q(started_on__lte=day) & (Q(closed_on=None) | Q(closed_on__gt=day))
    if shelf:
        there &= Q(shelf=shelf)
    tubs = Culture.objects.filter(there | Q(number__in=list(also))).select_related("line__species")
    done = looked_into_on(day)
    return [(tub, tub.pk in done) for tub in tubs]


def last_of(by: Any) -> Entry | None:
    """Return the last look or count of a person that stands and may still be undone on the round."""
    since = timezone.now() - UNDO_FOR
    own = Entry.objects.filter(by=by, recorded_at__gte=since).select_related("culture").order_by("-pk")
    last = own.filter(kind__in=DONE_BY, other_side=None).first()
    if last is None:
        return None
    corrections = Entry.objects.filter(culture_id=last.culture_id, kind=Entry.Kind.CORRECT)
    return None if last.pk in void_ids(corrections) else last
