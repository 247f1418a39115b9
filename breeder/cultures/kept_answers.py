"""Answers about a line are kept: a line of which no row has changed is not worked out again by the next page.

Every column of every row is compared, with the day and the time zone, so no answer is older than the rows it is for.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any, Generic, TypeVar

from django.db.models import Model
from django.utils import timezone

from breeder.cultures.line_surplus import LineRows
from breeder.cultures.models import Belief, Culture, Promise
from breeder.species.models import Line, Species

Answer = TypeVar("Answer")
Row = tuple[Any, ...]
MOST_LINES = 2_000  # answers kept of one kind, of some kilobytes each


def columns(model: type[Model]) -> list[str]:
    """Return the names of a table's columns, in the order in which `ReadLine` takes them."""
    return [field.attname for field in model._meta.concrete_fields]


@dataclass(frozen=True)
class ReadLine:
    """What one line's stock is worked out from, as it was read: columns as tuples, `used` of a belief as JSON text.

    Most pages find that nothing has changed, and never need the model rows; `rows` makes them when they are asked for.
    """

    line: Row
    species: Row
    tubs: Sequence[Row]
    beliefs: Sequence[Row]
    promises: Sequence[Row]

    @property
    def pk(self) -> int:
        """Return the line's id."""
        return int(self.line[0])

    @cached_property
    def rows(self) -> LineRows:
        """Return the same as model rows, each tub with its line and each line with its species."""
        line: Line = _made(Line, self.line)
        line.species = _made(Species, self.species)
        tubs: list[Culture] = [_made(Culture, row) for row in self.tubs]
        for tub in tubs:
            tub.line = line
        beliefs: list[Belief] = [_made(Belief, (*row[:-1], json.loads(row[-1]))) for row in self.beliefs]
        promises: list[Promise] = [_made(Promise, row) for row in self.promises]
        return LineRows(line, tuple(tubs), {(row.culture_id, row.stage): row for row in beliefs}, tuple(promises))


def _made(model: type[Model], row: Row) -> Any:
    return model.from_db("default", columns(model), row)


class KeptAnswers(Generic[Answer]):
    """The last answer for each line, with all that it was worked out from; safe for several threads."""

    def __init__(self, work: Callable[[LineRows, date], Answer]) -> None:
        self.work = work
        self.kept: dict[int, tuple[Any, Answer]] = {}

    def __call__(self, read: ReadLine, on: date) -> Answer:
        """Return the answer for a line on a day: the kept one where nothing differs, else a new one."""
        inputs = (on, timezone.get_current_timezone_name(), read)
        known = self.kept.get(read.pk)
        if known is not None and known[0] == inputs:
            return known[1]
        answer = self.work(read.rows, on)
        if len(self.kept) >= MOST_LINES:
            self.kept = {}
        self.kept[read.pk] = (inputs, answer)
        return answer
