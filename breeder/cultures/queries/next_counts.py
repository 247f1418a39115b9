"""What to count next: the week's tubs with why and how, in the same number of queries for 10 lines or 500."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q
from django.utils import timezone

from breeder.core.counting import count_priorities as planner
from breeder.core.counting.defaults import MOST_SUGGESTED_COUNTS
from breeder.cultures import count_uncertainty
from breeder.cultures.count_uncertainty import Doubtful, ToCount
from breeder.cultures.eye_bias import shared_of
from breeder.cultures.kept_answers import KeptAnswers, ReadLine
from breeder.cultures.line_surplus import LineRows
from breeder.cultures.models import Culture, Entry
from breeder.cultures.queries.stock import read_lines
from breeder.cultures.tub_ledger import void_ids
from breeder.species.models import Line

WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Plan:
    """The tubs worth counting this week, the most pressing first, and how many were counted in the last seven days."""

    tubs: tuple[ToCount, ...]
    counted: int

    def of(self, culture_id: int) -> ToCount | None:
        """Return why one tub is worth counting; None when it is not on the plan."""
        return next((one for one in self.tubs if one.tub.pk == culture_id), None)

    def words_of(self, culture_id: int, stage: str) -> str:
        """Return in words why a stage of a tub is worth counting, and how; empty when it is not on the plan.

        That a tub was never counted is said wherever the book speaks of it, so it is not said again.
        """
        reasons = (reason for one in self.tubs if one.tub.pk == culture_id for reason in one.reasons)
        found = next((one for one in reasons if one.stage == stage and one is not count_uncertainty.FIRST_COUNT), None)
        return f"Worth counting. {found.why} {found.way}".strip() if found else ""

    @property
    def unsold(self) -> int:
        """Return about how many animals doubt keeps from being sold in these tubs."""
        return round(sum(one.unsold for one in self.tubs))


def plan_of_week(on: date | None = None, *, by: Any = None, lines: Iterable[ReadLine] | None = None) -> Plan:
    """Return what to count this week: at most 25 tubs less those counted in the last seven days; dangers stay.

    A tub counted within the week is not asked for again, but where the line may be in danger. With `by`, what was
    learnt of that person's counts decides which way is worth it. Seven queries at most; `lines` may be given where
    the caller has read them already.
    """
    day = on or timezone.localdate()
    found = _Found()
    for read in read_lines(on=on) if lines is None else lines:
        line, doubts, new = kept_doubts(read, day)
        for doubt, tubs in doubts:
            found.stages.append(doubt)
            found.tubs |= tubs
        found.new += new
        found.lines[line.pk] = line
    week_began = timezone.make_aware(datetime.combine(day - WEEK + timedelta(days=1), time.min))
    rows = [one.read.row for one in found.tubs.values()]
    recent = {row.culture_id for row in rows if row.counted_at and row.counted_at >= week_began}
    chosen = _chosen(found, recent)
    return Plan(_with_reasons(chosen, found, shared_of(by)), len(recent))


def _doubts(rows: LineRows, day: date) -> tuple[Line, list[Any], list[Culture]]:
    return rows.line, count_uncertainty.of_line(rows, day), count_uncertainty.never_counted(rows, day)


kept_doubts = KeptAnswers(_doubts)


class _Found:
    def __init__(self) -> None:
        self.stages: list[planner.LineDoubt] = []
        self.tubs: dict[tuple[int, str], Doubtful] = {}
        self.new: list[Culture] = []
        self.lines: dict[int, Line] = {}


def _chosen(found: _Found, recent: set[int]) -> list[tuple[Culture, list[planner.NextCount]]]:
    """Return the tubs of the week with their wishes: dangers, then tubs never counted, then by animals unsold."""
    wishes = planner.next_counts(found.stages, most=len(found.tubs))
    by_tub: dict[int, list[planner.NextCount]] = defaultdict(list)
    for wish in wishes:
        by_tub[wish.ref[0]].append(wish)
    cultures = {one.tub.pk: one.tub for one in found.tubs.values()}
    pressing = [pk for pk, own in by_tub.items() if any(planner.is_uncertain_danger(wish.danger) for wish in own)]
    rest = [pk for pk in by_tub if pk not in set(pressing) and pk not in recent]
    left = max(0, MOST_SUGGESTED_COUNTS - len(recent))
    order = [(cultures[pk], by_tub[pk]) for pk in pressing]
    more: list[tuple[Culture, list[planner.NextCount]]] = [(tub, []) for tub in found.new]
    more += [(cultures[pk], by_tub[pk]) for pk in rest]
    return [*order, *more[: max(0, left - len(order))]][:MOST_SUGGESTED_COUNTS]


def _with_reasons(
    chosen: list[tuple[Culture, list[planner.NextCount]]], found: _Found, shared: dict[str, float]
) -> tuple[ToCount, ...]:
    keys = [wish.ref for _, wishes in chosen for wish in wishes]
    last = _last_counts([found.tubs[key] for key in keys])
    told = []
    for tub, wishes in chosen:
        reasons = tuple(
            count_uncertainty.reason_of(wish, found.tubs[wish.ref], last.get(wish.ref), shared) for wish in wishes
        )
        told.append(
            ToCount(
                tub,
                found.lines[tub.line_id],
                reasons or (count_uncertainty.FIRST_COUNT,),
                sum(wish.unsold for wish in wishes),
                max((wish.danger for wish in wishes), default=0.0),
            )
        )
    return tuple(told)


def _last_counts(wanted: list[Doubtful]) -> dict[tuple[int, str], Entry]:
    """Return the counts that these beliefs rest on, in two queries."""
    rows = [one.read.row for one in wanted if one.read.row.counted_at is not None]
    if not rows:
        return {}
    theirs = Q()
    for row in rows:
        theirs |= Q(culture_id=row.culture_id, stage=row.stage, happened_at=row.counted_at, method=row.method)
    entries = list(Entry.objects.filter(theirs, kind=Entry.Kind.COUNT).order_by("pk"))
    tubs = {row.culture_id for row in rows}
    void = void_ids(Entry.objects.filter(culture_id__in=tubs, kind=Entry.Kind.CORRECT).only("pk", "corrects_id"))
    return {(entry.culture_id, entry.stage): entry for entry in entries if entry.pk not in void}
