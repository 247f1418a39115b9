"""Reads of tubs, beliefs and promises; what every line can spare, in the same number of queries for 10 lines or 500."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, time

from django.db.models import Q, QuerySet
from django.utils import timezone

from breeder.cultures.line_stock import LineStock
from breeder.cultures.line_surplus import LineRows, stock_from
from breeder.cultures.models import Belief, Culture, Promise
from breeder.species.models import Line


def stock_by_line(line_ids: Iterable[int] | None = None, *, on: date | None = None) -> dict[int, LineStock]:
    """Return what each line can spare (default: every open line), by line id, on a day (default: now).

    Four queries, however many lines.
    """
    day = on or timezone.localdate()
    return {rows.line.pk: stock_from(rows, day) for rows in rows_by_line(line_ids, on=on)}


def rows_by_line(line_ids: Iterable[int] | None = None, *, on: date | None = None) -> list[LineRows]:
    """Return what a line's stock is reckoned from, for each line (default: every open one), in four queries."""
    wanted = None if line_ids is None else list(line_ids)
    lines = Line.objects.select_related("species")
    lines = lines.exclude(status=Line.Status.CLOSED) if wanted is None else lines.filter(pk__in=wanted)
    tubs = _by_line(_of(Culture.objects.filter(closed_on=None), "line_id", wanted))
    beliefs = _beliefs_by_tub(wanted)
    promises = _by_line(_of(held_promises(_moment(on)), "line_id", wanted))
    return [LineRows(line, tuple(tubs[line.pk]), beliefs, tuple(promises[line.pk])) for line in lines]


def stock_of(line_id: int, *, on: date | None = None) -> LineStock:
    """Return what one line can spare. Raises Line.DoesNotExist."""
    found = stock_by_line([line_id], on=on)
    if line_id not in found:
        raise Line.DoesNotExist(f"There is no line {line_id}.")
    return found[line_id]


def held_promises(at: datetime) -> QuerySet[Promise]:
    """Return the promises that hold animals at a moment; one that has run out unpaid holds none, whoever reads it."""
    return Promise.objects.filter(state=Promise.State.HELD).filter(
        Q(paid_at__isnull=False) | Q(expires_at__isnull=True) | Q(expires_at__gt=at)
    )


def open_on_shelf(shelf: str) -> list[int]:
    """Return the open tubs of a shelf, in round order."""
    return list(Culture.objects.filter(shelf=shelf, closed_on=None).values_list("pk", flat=True))


def _moment(on: date | None) -> datetime:
    """Return the moment that a day is read at: now, or its first; a hold that ends in the day still holds then."""
    if on is None or on == timezone.localdate():
        return timezone.now()
    return timezone.make_aware(datetime.combine(on, time.min))


def _of(rows: QuerySet, column: str, wanted: list[int] | None) -> QuerySet:
    return rows if wanted is None else rows.filter(**{f"{column}__in": wanted})


def _by_line(rows: Iterable) -> dict[int, list]:
    found: dict[int, list] = defaultdict(list)
    for row in rows:
        found[row.line_id].append(row)
    return found


def _beliefs_by_tub(wanted: list[int] | None) -> dict[tuple[int, str], Belief]:
    rows = _of(Belief.objects.filter(culture__closed_on=None), "culture__line_id", wanted)
    return {(row.culture_id, row.stage): row for row in rows}
