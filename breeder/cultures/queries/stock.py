"""Reads of tubs, beliefs and promises; what every line can spare, in the same number of queries for 10 lines or 500."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, time
from functools import cache

from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast
from django.utils import timezone

from breeder.cultures.kept_answers import KeptAnswers, ReadLine, Row, columns
from breeder.cultures.line_stock import LineStock
from breeder.cultures.line_surplus import stock_from
from breeder.cultures.models import Belief, Culture, Promise
from breeder.species.models import Line, Species


def stock_by_line(line_ids: Iterable[int] | None = None, *, on: date | None = None) -> dict[int, LineStock]:
    """Return what each line can spare (default: every open line), by line id, on a day (default: now).

    Four queries, however many lines.
    """
    day = on or timezone.localdate()
    return stock_of_lines(read_lines(line_ids, on=on), day)


def stock_of_lines(lines: Iterable[ReadLine], day: date) -> dict[int, LineStock]:
    """Return what each line can spare on a day, by line id, of lines that were read already."""
    return {line.pk: kept_stock(line, day) for line in lines}


def read_lines(line_ids: Iterable[int] | None = None, *, on: date | None = None) -> list[ReadLine]:
    """Return what a line's stock is reckoned from, for each line (default: every open one), in four queries."""
    wanted = None if line_ids is None else list(line_ids)
    lines, tubs, beliefs, promises = _columns()
    lines = lines.exclude(status=Line.Status.CLOSED) if wanted is None else lines.filter(pk__in=wanted)
    tubs_of = _grouped(_of(tubs, "line_id", wanted))
    beliefs_of = _grouped(_of(beliefs, "culture__line_id", wanted))
    promises_of = _grouped(_of(promises.filter(_holds(_moment(on))), "line_id", wanted))
    width = len(columns(Line))
    return [
        ReadLine(row[:width], row[width:], tubs_of[row[0]], beliefs_of[row[0]], promises_of[row[0]]) for row in lines
    ]


@cache
def _columns() -> tuple[QuerySet, QuerySet, QuerySet, QuerySet]:
    """Return what is read of lines, open tubs, their beliefs and promises held; of all but lines, the line comes first.

    Made once, since naming a hundred columns costs more than reading a line. `used` of a belief is read as the text
    that it is kept as: to compare it costs little.
    """
    species = [f"species__{name}" for name in columns(Species)]
    *names, last = columns(Belief)
    if last != "used":
        raise AssertionError("The column 'used' of a belief must be its last.")
    beliefs = Belief.objects.filter(culture__closed_on=None).order_by("pk")
    return (
        Line.objects.values_list(*columns(Line), *species),
        Culture.objects.filter(closed_on=None).values_list("line_id", *columns(Culture)),
        beliefs.values_list("culture__line_id", *names, Cast("used", TextField())),
        Promise.objects.filter(state=Promise.State.HELD).values_list("line_id", *columns(Promise)),
    )


def stock_of(line_id: int, *, on: date | None = None) -> LineStock:
    """Return what one line can spare. Raises Line.DoesNotExist."""
    found = stock_by_line([line_id], on=on)
    if line_id not in found:
        raise Line.DoesNotExist(f"There is no line {line_id}.")
    return found[line_id]


def held_promises(at: datetime) -> QuerySet[Promise]:
    """Return the promises that hold animals at a moment; one that has run out unpaid holds none, whoever reads it."""
    return Promise.objects.filter(_holds(at), state=Promise.State.HELD)


def _holds(at: datetime) -> Q:
    return Q(paid_at__isnull=False) | Q(expires_at__isnull=True) | Q(expires_at__gt=at)


def open_on_shelf(shelf: str) -> list[int]:
    """Return the open tubs of a shelf, in round order."""
    return list(Culture.objects.filter(shelf=shelf, closed_on=None).values_list("pk", flat=True))


def _moment(on: date | None) -> datetime:
    """Return the moment that a day is read at: now, or its first; a hold that ends in the day still holds then."""
    if on is None or on == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(on, time.min))


def _of(rows: QuerySet, column: str, wanted: list[int] | None) -> QuerySet:
    """Return a new query for these lines, or for all: one that was answered once would answer the same for ever."""
    return rows.all() if wanted is None else rows.filter(**{f"{column}__in": wanted})


def _grouped(rows: QuerySet) -> dict[int, list[Row]]:
    """Return rows by their first column, in the order of the table."""
    found: dict[int, list[Row]] = defaultdict(list)
    for row in rows:
        found[row[0]].append(row[1:])
    return found


kept_stock = KeptAnswers(stock_from)
