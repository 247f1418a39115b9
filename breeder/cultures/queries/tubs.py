"""Tubs and lines as their pages show them: what the book relies on, and every entry with what became of it."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone

from breeder.base.dates import day_said
from breeder.core.counting.plurals import number_text
from breeder.cultures import belief_store
from breeder.cultures.line_stock import LineStock, StageStock, TubStock
from breeder.cultures.models import SHELF_ORDER, Culture, Entry, Promise
from breeder.cultures.phrases import animals
from breeder.cultures.queries.last_looks import NEVER, last_looks
from breeder.cultures.queries.stock import held_promises, stock_by_line
from breeder.cultures.tub_ledger import Ledger, void_ids
from breeder.species.models import Line

LINES_BY_NAME = ("species__scientific_name", "species__qualifier", "form_name", "locality")
COUNT_DUE_DAYS = 90  # a count is asked for this long after the last: half of the six months that end all sales


@dataclass(frozen=True)
class TubRow:
    """One tub of the list, in words and numbers."""

    tub: Culture
    stages: tuple[tuple[str, TubStock], ...]
    looked_on: date | None
    counted_on: date | None
    count_due: bool
    today: date

    @property
    def by_head(self) -> bool:
        """Return whether the line is kept by the animal."""
        return self.tub.line.sold_by == Line.SoldBy.HEAD

    @property
    def line_words(self) -> str:
        return str(self.tub.line)

    @property
    def place_words(self) -> str:
        return f"{self.tub.shelf} {self.tub.place_on_shelf}"

    @property
    def place_order(self) -> tuple[str, int, int]:
        return (self.tub.shelf, self.tub.place_on_shelf, self.tub.number)

    @property
    def relied(self) -> str:
        """Return what the book relies on, such as '46 young, 22 adults'; a dash for a tub never counted."""
        told = [animals(tub.lower, stage) for stage, tub in reversed(self.stages)]
        return ", ".join(told) or "–"


def tub_by_number(number: int) -> Culture | None:
    """Return a tub by its number, closed ones too."""
    return Culture.objects.select_related("line__species").filter(number=number).first()


def line_by_pk(pk: int) -> Line | None:
    """Return a line."""
    return Line.objects.select_related("species").filter(pk=pk).first()


def lines_open() -> QuerySet[Line]:
    """Return the open lines by name, for choosing one."""
    return Line.objects.exclude(status=Line.Status.CLOSED).select_related("species")


def tubs_open(*, but: int | None = None) -> QuerySet[Culture]:
    """Return the open tubs in shelf order, for choosing one; without the one given."""
    return Culture.objects.filter(closed_on=None).exclude(pk=but).select_related("line__species")


def shelves() -> list[str]:
    """Return the shelves that hold open tubs, in round order."""
    return list(Culture.objects.filter(closed_on=None).order_by("shelf").values_list("shelf", flat=True).distinct())


def with_lines(tubs: QuerySet[Culture]) -> QuerySet[Culture]:
    """Return the same tubs, each with its line; a line is read once, however many tubs it has."""
    return tubs.prefetch_related(Prefetch("line", Line.objects.select_related("species")))


def tub_rows(
    *,
    shelf: str = "",
    purpose: str = "",
    find: str = "",
    closed: bool = False,
    line_id: int | None = None,
    number: int | None = None,
) -> list[TubRow]:
    """Return tubs in shelf order with what the book relies on in each."""
    tubs = with_lines(Culture.objects.order_by(*SHELF_ORDER))
    tubs = tubs.exclude(closed_on=None) if closed else tubs.filter(closed_on=None)
    for name, value in (("shelf", shelf), ("purpose", purpose), ("line_id", line_id), ("number", number)):
        if value:
            tubs = tubs.filter(**{name: value})
    for word in find.split():
        tubs = tubs.filter(_named(word))
    rows, narrowed = list(tubs), bool(shelf or purpose or find or closed or line_id or number)
    # Reading what the whole book relies on is most of the work, so a narrowed list reads only the lines that it shows.
    by_tub = _stages_by_tub(sorted({tub.line_id for tub in rows if not closed}) if narrowed else None)
    today, looks = timezone.localdate(), last_looks(tubs, with_seen=False)
    return [_row(tub, by_tub.get(tub.pk, ()), looks.get(tub.pk, NEVER).seen_at, today) for tub in rows]


def _named(word: str) -> Q:
    """Return the tubs whose line bears a word in its name."""
    names = ("species__scientific_name", "species__vernacular_name", "form_name", "locality")
    found = Q()
    for name in names:
        found |= Q(**{f"line__{name}__icontains": word})
    return found


def _stages_by_tub(line_ids: list[int] | None) -> dict[int, tuple[tuple[str, TubStock], ...]]:
    found: dict[int, tuple[tuple[str, TubStock], ...]] = {}
    for line in stock_by_line(line_ids).values():
        for stage, stock in line.stages.items():
            for tub in stock.tubs:
                found[tub.culture_id] = (*found.get(tub.culture_id, ()), (stage, tub))
    return found


def _row(tub: Culture, stages: tuple[tuple[str, TubStock], ...], seen_at: datetime | None, today: date) -> TubRow:
    counted = [one.counted_on for _, one in stages if one.counted_on]
    last = max(counted, default=None)
    looked = timezone.localdate(seen_at) if seen_at else None
    by_head = tub.line.sold_by == Line.SoldBy.HEAD
    due = by_head and tub.closed_on is None and (last is None or (today - last).days >= COUNT_DUE_DAYS)
    return TubRow(tub, stages, looked, last if by_head else None, due, today)


@dataclass(frozen=True)
class LineRow:
    """One line of the list of lines, with what it can spare."""

    line: Line
    stock: LineStock

    @property
    def name(self) -> str:
        return str(self.line)

    @property
    def shown(self) -> tuple[StageStock, ...]:
        """Return its stages, what is sold first."""
        return tuple(reversed(self.stock.stages.values()))

    @property
    def tub_count(self) -> int:
        return len({tub.culture_id for stage in self.stock.stages.values() for tub in stage.tubs})

    @property
    def free(self) -> int:
        return sum(stage.free for stage in self.shown)

    @property
    def free_words(self) -> str:
        """Return what is free, or what is short, by stage."""
        told = [
            f"short by {number_text(one.short, one.stage)}" if one.short else number_text(one.free, one.stage)
            for one in self.shown
        ]
        return ", ".join(told)

    @property
    def short_words(self) -> str:
        """Return by how many it is short, such as '12 young'."""
        return " and ".join(animals(one.short, one.stage) for one in self.shown if one.short)

    @property
    def state(self) -> str:
        """Return what is particular about the line: resting, not for sale, cannot be bought again."""
        if self.line.frozen_because:
            return f"frozen: {self.line.frozen_because}"
        if self.line.not_for_sale:
            return f"not for sale: {self.line.not_for_sale}"
        if not self.stock.sellable and self.stock.resting_until:
            return f"resting until {day_said(self.stock.resting_until)}"
        return "cannot be bought again" if self.line.irreplaceable else ""


def line_rows(*, closed: bool = False) -> list[LineRow]:
    """Return lines by name with what they can spare."""
    lines = Line.objects.select_related("species").order_by(*LINES_BY_NAME)
    chosen = lines.filter(status=Line.Status.CLOSED) if closed else lines.exclude(status=Line.Status.CLOSED)
    stocks = stock_by_line([line.pk for line in chosen] if closed else None)
    return [LineRow(line, stocks[line.pk]) for line in chosen]


@dataclass(frozen=True)
class EntryRow:
    """One entry, whether it stands, and the tub at its other side, if it has one."""

    entry: Entry
    is_void: bool
    other_number: int | None


def entry_rows(tub: Culture, *, newest: int | None = None) -> list[EntryRow]:
    """Return the entries of a tub, newest first, with those that were put right still in their place."""
    entries = Entry.objects.filter(culture=tub).select_related("by", "other_side__culture", "corrects")
    rows = list(entries.order_by("-happened_at", "-pk")[:newest])
    void = void_ids(Entry.objects.filter(culture=tub, kind=Entry.Kind.CORRECT))
    into = dict(
        Entry.objects.filter(other_side__in=[row.pk for row in rows]).values_list("other_side_id", "culture__number")
    )
    for row in rows:
        row.culture = tub  # else each row would ask for it again
    return [EntryRow(row, row.pk in void, _other(row, into)) for row in rows]


def _other(entry: Entry, into: dict[int, int]) -> int | None:
    number = entry.other_side.culture.number if entry.other_side else into.get(entry.pk)
    return None if number == entry.culture.number else number


def looks_of(tub: Culture) -> list[tuple[datetime, list[str]]]:
    """Return the looks into a tub that stand, oldest first, with what was seen."""
    entries = Entry.objects.filter(culture=tub, kind=Entry.Kind.LOOKED).order_by("happened_at", "pk")
    void = void_ids(Entry.objects.filter(culture=tub, kind=Entry.Kind.CORRECT))
    return [(entry.happened_at, entry.given.get("seen", [])) for entry in entries if entry.pk not in void]


def book_of(tub: Culture) -> Ledger:
    """Return the ledger of a tub, with all that were tipped into it."""
    return belief_store.load({tub.pk})[0]


def promise_rows(line_id: int) -> list[Promise]:
    """Return the promises that hold animals of a line, in the order paid, then made."""
    return list(held_promises(timezone.now()).filter(line_id=line_id).select_related("culture"))
