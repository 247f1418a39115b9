"""Whom an order may be for: a few people to choose from, however many are in the book."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from breeder.people.models import Person
from breeder.people.queries import ids_containing

MOST_SHOWN = 60  # names in one list on a phone; more are found by their letters


@dataclass(frozen=True)
class ToChooseFrom:
    """The people of a list by name, and how many more are in the book, or bear the letters looked for."""

    people: tuple[Person, ...]
    left_out: int

    @property
    def more_words(self) -> str:
        """Return how to reach those who are left out; nothing when nobody is."""
        if not self.left_out:
            return ""
        more = "One more person is" if self.left_out == 1 else f"{self.left_out} more people are"
        return f"{more} not in this list. Find them by name."


def to_choose_from(find: str, *, chosen: Any = None) -> ToChooseFrom:
    """Return the people whose name holds these letters, else those of the latest orders; the chosen one in any case."""
    on_file = Person.objects.filter(removed_at=None)
    wanted = on_file.filter(pk__in=ids_containing(find, "name")) if find else on_file
    latest = wanted.annotate(last=Max("orders__number", default=0)).order_by("-last", "-pk")[:MOST_SHOWN]
    shown = {one.pk: one for one in latest}
    left_out = wanted.count() - len(shown)
    if str(chosen or "").isdecimal() and int(chosen) not in shown and (one := _by_id(on_file, int(chosen))):
        shown[one.pk] = one
        left_out -= wanted.filter(pk=one.pk).count()
    return ToChooseFrom(tuple(sorted(shown.values(), key=lambda one: (one.name, one.pk))), left_out)


def _by_id(on_file: Any, pk: int) -> Person | None:
    return on_file.filter(pk=pk).first() if pk < 2**63 else None
