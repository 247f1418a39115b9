"""How far off each person is with each way of counting: learnt from full sorts and removals that follow a guess.

A new figure is a new dated row. Every count keeps the one that it was made with, so history never changes by learning.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from math import exp
from typing import Any

from django.db.models import F
from django.utils import timezone

from breeder.core.counting import observer_bias
from breeder.core.counting.defaults import PAIR_WITHIN_DAYS, SHARED_SD
from breeder.core.counting.observer_bias import GUESSES, TRUTHS, GuessPair, PersonCount, SharedError
from breeder.cultures.count_entry import LEARNT, counted_again
from breeder.cultures.models import Culture, Entry, OwnError
from breeder.cultures.tub_ledger import COUNTING_KINDS, order_of, void_ids

PAIRED_WITHIN = timedelta(days=PAIR_WITHIN_DAYS)
SHOWN_PAIRS = 20
# What of an entry tells its place in the replay, and what it says of a pair.
PAIR_COLUMNS = (
    "pk", "culture_id", "stage", "kind", "happened_at", "by_id", "method", "given", "estimate", "log_sd", "shared_sd",
    "number", "reason", "males", "females", "other_side_id",
)  # fmt: skip


@dataclass(frozen=True)
class TubPair:
    """A guess and the sort that followed it, with the tub and stage of both."""

    culture_id: int
    stage: str
    pair: GuessPair


def in_use(by: Any, method: str) -> OwnError | None:
    """Return what is used for the next count of a person with a method; None where it is the method's default."""
    if by is None or method not in GUESSES:
        return None
    newest = OwnError.objects.filter(by=by, method=method).order_by("-learnt_at", "-pk").first()
    return newest if newest is not None and newest.learnt else None


def shared_of(by: Any) -> dict[str, float]:
    """Return the shared errors to expect of a person's next counts, by method; defaults where nothing is learnt."""
    rows = OwnError.objects.filter(by=by).order_by("learnt_at", "pk") if by is not None else ()
    return SHARED_SD | {row.method: row.sd if row.learnt else SHARED_SD[row.method] for row in rows}


def with_own_error(given: Mapping[str, Any], method: str, by: Any) -> dict[str, Any]:
    """Return what is kept of a count with the person's own error that it is made with, if one is learnt."""
    return kept_with(given, in_use(by, method))


def kept_with(given: Mapping[str, Any], own: OwnError | None) -> dict[str, Any]:
    """Return what is kept of a count with a person's own error; without one nothing typed can stand for it."""
    if own is None:
        return {name: value for name, value in given.items() if name != LEARNT}
    return {**given, LEARNT: {"bias": own.bias, "sd": own.sd, "pairs": own.pairs}}


def follow(entry: Entry) -> list[OwnError]:
    """Learn from what a new entry tells of guesses in its tub: a sort after them, a guess before one, a correction."""
    fact: Entry | None = entry
    while fact is not None and fact.kind == Entry.Kind.CORRECT:
        fact = fact.corrects
    if fact is None or fact.kind not in COUNTING_KINDS or not _tells(fact, entry):
        return []
    of_tub = Entry.objects.filter(culture_id=fact.culture_id, stage=fact.stage, kind=Entry.Kind.COUNT)
    guessed = of_tub.filter(method__in=GUESSES, by__isnull=False).values_list("by_id", "method").distinct()
    pairs = all_pairs()
    rows = [learn(by_id, method, pairs) for by_id, method in sorted(set(guessed.order_by()))]
    return [row for row in rows if row is not None]


def _tells(fact: Entry, entry: Entry) -> bool:
    """Return whether there may be another pair, or one less."""
    if fact.method in TRUTHS or entry.kind == Entry.Kind.CORRECT:
        return True
    later = Entry.objects.filter(culture_id=fact.culture_id, stage=fact.stage, method__in=TRUTHS)
    return later.filter(happened_at__gte=fact.happened_at, happened_at__lte=fact.happened_at + PAIRED_WITHIN).exists()


def learn(by_id: int, method: str, pairs: Mapping[tuple[int, str], list[TubPair]] | None = None) -> OwnError | None:
    """Write a new row where a person's error with a method has changed, and return it.

    `pairs` may be given where the caller has read everybody's already.
    """
    own = (all_pairs() if pairs is None else pairs).get((by_id, method), [])
    error = observer_bias.shared_error([one.pair for one in own], method)
    last = OwnError.objects.filter(by_id=by_id, method=method).order_by("-learnt_at", "-pk").first()
    if _says_the_same(last, error):
        return None
    figures = {"bias": error.bias, "sd": error.sd, "pairs": error.pairs, "learnt": error.learnt}
    return OwnError.objects.create(by_id=by_id, method=method, learnt_at=timezone.now(), **figures)


def _says_the_same(last: OwnError | None, error: SharedError) -> bool:
    if last is None or not last.learnt:
        return not error.learnt
    return error.learnt and (last.bias, last.sd, last.pairs) == (error.bias, error.sd, error.pairs)


def all_pairs() -> dict[tuple[int, str], list[TubPair]]:
    """Return the pairs of everybody's ways of counting by (person, method) out of the whole book, in two queries.

    A tub that was tipped over between guess and sort says nothing, since nobody knows how many went.
    """
    corrections = Entry.objects.order_by().filter(kind=Entry.Kind.CORRECT)
    void = void_ids(corrections.values_list("pk", "corrects_id", named=True))
    standing = [entry for entry in _before_sorts() if entry.pk not in void]
    found: dict[tuple[int, str], list[TubPair]] = defaultdict(list)
    for (culture_id, stage), of_tub in groupby(sorted(standing, key=_by_tub), key=lambda one: _by_tub(one)[:2]):
        for stretch in _between_tippings(of_tub):
            for person, method in {(one.person, one.method) for one in stretch if one.method in GUESSES and one.person}:
                pairs = observer_bias.guess_pairs(stretch, person, method)
                found[int(person), method] += [TubPair(culture_id, stage, pair) for pair in pairs]
    return found


def _before_sorts() -> Iterable[Any]:
    """Return the entries so shortly before a sort, or at it, that they can be of a pair: their columns as named rows.

    A pair is at most PAIR_WITHIN_DAYS calendar days long, which is less than a day more in hours. What lies outside is
    never read, so that the page does not grow slower with every count.
    """
    near = Entry.objects.order_by().filter(
        kind=Entry.Kind.COUNT,
        method__in=TRUTHS,
        culture__entries__kind__in=COUNTING_KINDS,
        culture__entries__stage=F("stage"),
        culture__entries__happened_at__lte=F("happened_at"),
        culture__entries__happened_at__gt=F("happened_at") - PAIRED_WITHIN - timedelta(days=1),
    )
    rows = Entry.objects.order_by().filter(pk__in=near.values("culture__entries__pk"))
    return rows.values_list(*PAIR_COLUMNS, named=True)


def _by_tub(entry: Any) -> tuple[Any, ...]:
    return (entry.culture_id, entry.stage, order_of(entry))


def _between_tippings(entries: Any) -> list[list[PersonCount]]:
    stretches: list[list[PersonCount]] = [[]]
    for entry in entries:
        if entry.kind == Entry.Kind.ABOUT:
            stretches.append([])
        else:
            stretches[-1].append(_tried(entry))
    return stretches


def _tried(entry: Any) -> PersonCount:
    """Return an entry as the census room takes it; what was learnt before is put back into a guess."""
    if entry.kind == Entry.Kind.CHANGE:
        return PersonCount(entry.happened_at, "", "moved", 0.0, 0.0, entry.number or 0)
    again = counted_again(entry)
    estimate, log_sd = (entry.estimate, entry.log_sd) if again is None else (again.estimate, again.log_sd)
    log_sd, shared = log_sd or 0.0, 0.0 if entry.method in TRUTHS else entry.shared_sd or 0.0
    bias = entry.given.get(LEARNT, {}).get("bias", 0.0)
    raw = observer_bias.raw_estimate(estimate or 0.0, bias)
    return PersonCount(
        entry.happened_at, str(entry.by_id or ""), entry.method, raw, max(0.0, log_sd**2 - shared**2) ** 0.5
    )


@dataclass(frozen=True)
class Own:
    """What is known of one person's counts with one method, for their page."""

    person: str
    method: str
    error: SharedError
    default_sd: float
    pairs: tuple[tuple[int, str, GuessPair], ...]
    rows: tuple[OwnError, ...]

    @property
    def seen(self) -> float:
        """Return the share of what is there that this person sees."""
        return exp(self.error.bias)

    @property
    def table(self) -> list[tuple[int, str, GuessPair, float]]:
        """Return the newest pairs, each with the share that was seen."""
        told = [(number, stage, pair, exp(pair.log_ratio)) for number, stage, pair in self.pairs]
        return sorted(told, key=lambda row: str(row[2].at), reverse=True)[:SHOWN_PAIRS]


def own_errors() -> list[Own]:
    """Return everybody's ways of counting that can be learnt, with their pairs; those with most pairs first."""
    used = Entry.objects.filter(kind=Entry.Kind.COUNT, method__in=GUESSES, by__isnull=False).order_by()
    found, pairs_by_way = [], all_pairs()
    numbers = dict(Culture.objects.order_by().values_list("pk", "number"))
    learnt: dict[tuple[int, str], list[OwnError]] = defaultdict(list)
    for row in OwnError.objects.order_by("-learnt_at", "-pk"):
        learnt[row.by_id, row.method].append(row)
    for by_id, name, method in sorted(used.values_list("by_id", "by__username", "method").distinct()):
        pairs = pairs_by_way[by_id, method]
        told = [(numbers[one.culture_id], one.stage, one.pair) for one in pairs]
        error = observer_bias.shared_error([one.pair for one in pairs], method)
        found.append(Own(name, method, error, SHARED_SD[method], tuple(told), tuple(learnt[by_id, method])))
    return sorted(found, key=lambda own: -own.error.pairs)
