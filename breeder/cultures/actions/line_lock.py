"""What every action shares: the lock of its lines, checks of when and how many, and what a fact breaks."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from breeder.core.counting.plurals import number_text
from breeder.cultures import rules, steps
from breeder.cultures.count_entry import BadFact
from breeder.cultures.line_stock import LineStock
from breeder.cultures.models import Culture, Entry, Stage
from breeder.cultures.queries.stock import stock_by_line
from breeder.species.models import Line

CLOCK_SLACK = timedelta(minutes=5)  # a phone's clock may run this far ahead; common practice, no source
MOST_ANIMALS = 100_000  # in one entry; more is a slip of the finger. Common practice, no source


@dataclass(frozen=True)
class Recorded:
    """What was written, and in sentences what it breaks."""

    entry: Entry
    breaks: tuple[str, ...] = ()


@dataclass(frozen=True)
class LockedTubs:
    """The tubs of one action, read after their lines were locked, and the stock of those lines at that moment."""

    tubs: dict[int, Culture]
    before: dict[int, LineStock]

    @property
    def first(self) -> Culture:
        """Return the tub that the action names first."""
        return next(iter(self.tubs.values()))

    def recorded(self, entry: Entry, *, more: Iterable[str] = ()) -> Recorded:
        """Return what was written, and in sentences what it broke."""
        breaks = [*more]
        for line_id, stock in stock_by_line(list(self.before)).items():
            breaks += rules.broken_by(self.before[line_id], stock)
        return Recorded(entry, tuple(breaks))


def lock_tubs(culture_ids: Iterable[int]) -> LockedTubs:
    """Lock the lines of these tubs, then read the tubs. Raises BadFact for a tub that is not in the book."""
    wanted = list(dict.fromkeys(culture_ids))
    # A tub never changes its line, so this may be read before the lock; everything that can change is read after it.
    line_ids = set(Culture.objects.filter(pk__in=wanted).values_list("line_id", flat=True))
    steps.lock_lines(line_ids)
    tubs = {tub.pk: tub for tub in Culture.objects.filter(pk__in=wanted).select_related("line__species")}
    if len(tubs) < len(wanted):
        raise BadFact("This tub is not in the book. Go back to the list of tubs and choose another.")
    return LockedTubs({pk: tubs[pk] for pk in wanted}, stock_by_line(sorted(line_ids)))


def lock_tub(culture_id: int, *_: Any, **__: Any) -> LockedTubs:
    """Lock the line of the tub that an action is about."""
    return lock_tubs([culture_id])


def lock_both_tubs(culture_id: int, other_id: int, *_: Any, **__: Any) -> LockedTubs:
    """Lock the lines of the two tubs that an action is about."""
    return lock_tubs([culture_id, other_id])


def lock_line(line_id: int, *_: Any, **__: Any) -> Line:
    """Lock the line that an action is about, then read it. Raises BadFact for a line that is not in the book."""
    steps.lock_lines([line_id])
    line = Line.objects.select_related("species").filter(pk=line_id).first()
    if line is None:
        raise BadFact({"line": "This line is not in the book. Choose a line from the list."})
    return line


def check_time(tub: Culture, happened_at: datetime | None) -> datetime:
    """Return when it happened (default now). Raises BadFact for the future, or a time when there was no such tub."""
    now = timezone.now()
    at = happened_at or now
    if at > now + CLOCK_SLACK:
        when = f"“When” is {_day(at)}, which has not come yet."
        raise BadFact({"happened_at": f"{when} Give the time it happened, or leave it empty for now."})
    on = timezone.localdate(at)
    if on < tub.started_on:
        start = f"tub {tub.number} was started on {tub.started_on:%-d %B %Y}"
        raise BadFact({"happened_at": f"“When” is {_day(at)}, but {start}. Give a later day, or choose another tub."})
    # On its closing day a tub is closed: an old form for it must not write into an empty tub.
    if tub.closed_on and on >= tub.closed_on:
        when = f"{tub.closed_on:%-d %B %Y}"
        raise BadFact(f"Tub {tub.number} was closed on {when}. Choose another tub, or correct its closing first.")
    return at


def check_number(field: str, number: Any, *, least: int = 1) -> int:
    """Return a whole number of animals. Raises BadFact for anything else."""
    if isinstance(number, bool) or not isinstance(number, int):
        raise BadFact({field: f"“{field}” is {number!r}, which is not a whole number. Type a number such as 12."})
    if number < least:
        raise BadFact({field: f"“{field}” is {number}, but it must be at least {least}. Type how many animals it was."})
    if number > MOST_ANIMALS:
        raise BadFact({field: f"“{field}” is {number}, more than one tub can hold ({MOST_ANIMALS}). Type it again."})
    return number


def check_sexes(number: int, males: int, females: int) -> None:
    """Check that males and females are part of the number. Raises BadFact."""
    check_number("males", males, least=0)
    check_number("females", females, least=0)
    if males + females > number:
        both = f"{number_text(males, 'males')} and {number_text(females, 'females')}"
        raise BadFact({"males": f"{both} are more than the {number} in all. Type the number again."})


def signed_sexes(sign: int, males: int, females: int) -> dict[str, int | None]:
    """Return the sexes of a change as the ledger keeps them: with its sign, or unknown when none was named."""
    if not males and not females:
        return {"males": None, "females": None}
    return {"males": sign * males, "females": sign * females}


def check_stage(line: Line, stage: str) -> str:
    """Return the stage if this line is kept in it. Raises BadFact."""
    stages = kept_stages(line)
    if stage not in stages:
        raise BadFact({"stage": f"“{stage}” is not kept in this line. Choose {' or '.join(stages)}."})
    return stage


def kept_stages(line: Line) -> tuple[str, ...]:
    """Return the stages that a line is kept in: adults and young, or cups."""
    if line.sold_by == Line.SoldBy.CUP:
        return (Stage.CUPS.value,)
    return (Stage.ADULTS.value, Stage.YOUNG.value)


def _day(at: datetime) -> str:
    return f"{timezone.localtime(at):%-d %B %Y}"
