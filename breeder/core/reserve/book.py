"""The stock book of one line, from entries to what may be sold, without a database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from breeder.core import stock
from breeder.core.stock import About, Ageing, Belief, Counted, Event, Moved

from .defaults import ADULTS_KEPT, CONFIDENCE
from .surplus import Free, StageStock, Tub, grown_up, stage_free, tub_stage

ADULTS, YOUNG = "adults", "young"
STAGES = (ADULTS, YOUNG)

Events = dict[tuple[int, str], list[Event]]  # by tub and stage, in the order in which they happened


@dataclass(frozen=True)
class Terms:
    """What the keeper set for a line: kept back by stage (animals), shares, confidence, and how beliefs fade."""

    kept_back: dict[str, int] = field(default_factory=lambda: {ADULTS: ADULTS_KEPT})
    confidence: float = CONFIDENCE
    handling_loss: float = 0.0
    harvest_share: float | None = None
    ageing: Ageing = field(default_factory=Ageing)

    def kept(self, stage: str) -> int:
        """Return what stays of a stage; young keep the adults' number unless they have their own."""
        return self.kept_back.get(stage, self.kept_back.get(ADULTS, 0))

    def harvest(self, stage: str) -> float | None:
        """Return the harvest share of a stage; only young are harvested by share."""
        return self.harvest_share if stage == YOUNG else None


@dataclass(frozen=True)
class Entry:
    """One entry: an event of a tub and stage, or the correction of another entry (which then never happened)."""

    id: int
    tub: int
    on: date
    stage: str = ""
    event: Event | None = None
    corrects: int | None = None


@dataclass(frozen=True)
class Promise:
    """Animals promised from the line, perhaps from one tub."""

    stage: str
    number: int
    tub: int | None = None


@dataclass(frozen=True)
class TubPage:
    """What the book says of one tub and stage on a day; `aged` is the belief as it reads then, `lower` its bound."""

    tub: int
    aged: Belief
    lower: int
    stale: bool
    free: Free


@dataclass(frozen=True)
class StagePage:
    """What the book says of one stage of the line."""

    stage: str
    line: Free
    breeders: int
    tubs: tuple[TubPage, ...]


def open_book(
    as_of: date, terms: Terms, tubs: Sequence[Tub], entries: Iterable[Entry], promises: Sequence[Promise]
) -> dict[str, StagePage]:
    """Return, by stage, what the line holds and can spare on `as_of`; entries after that day have not happened yet.

    Entries may come in any order and with any ids: they are replayed by day and, within a day, in an order of their own
    (see `standing`). Raises ValueError when corrections correct each other in a ring.
    """
    happened = [entry for entry in standing(entries) if entry.on <= as_of]
    events: Events = defaultdict(list)
    for entry in happened:
        if entry.event is not None:
            events[entry.tub, entry.stage].append(entry.event)
    stages = {entry.stage for entry in happened} | {promise.stage for promise in promises} | set(terms.kept_back)
    return {stage: _stage_page(stage, as_of, terms, tubs, events, promises) for stage in STAGES if stage in stages}


def standing(entries: Iterable[Entry]) -> list[Entry]:
    """Return the entries that still stand, in the order in which they happened, corrections and corrected left out.

    A correction that is itself corrected no longer counts, so what it took away stands again. Within a day the order
    follows from what the entries say, never from typing: what came in was there to be counted, and what went out left
    after the count, so that a tie never makes a bound greater.
    """
    known = sorted(entries, key=lambda entry: (entry.on, *_within_day(entry.event), entry.id))
    gone = stock.fallen({entry.id: entry.corrects for entry in known if entry.corrects is not None})
    return [entry for entry in known if entry.event is not None and entry.id not in gone]


def _within_day(event: Event | None) -> tuple[int, float, float]:
    if isinstance(event, Counted):
        return 1, event.estimate, event.log_sd
    if isinstance(event, Moved):
        return (0 if event.number > 0 else 2), event.number, 0.0
    if isinstance(event, About):
        return (4 if event.number > 0 else 3), event.number, event.log_sd
    return 5, 0.0, 0.0


def _stage_page(
    stage: str, as_of: date, terms: Terms, tubs: Sequence[Tub], events: Events, promises: Sequence[Promise]
) -> StagePage:
    at = (terms.confidence,)
    beliefs = {tub.tub: stock.replay(events.get((tub.tub, stage), ()), terms.ageing, stage, at) for tub in tubs}
    held = [promise for promise in promises if promise.stage == stage]
    kept = StageStock(
        stage,
        tuple(
            tub_stage(tub, beliefs[tub.tub], stage, as_of, terms.confidence, terms.ageing, _promised(held, tub.tub))
            for tub in tubs
        ),
        terms.kept(stage),
        sum(promise.number for promise in held),
        terms.handling_loss,
        terms.harvest(stage),
    )
    line, by_tub = stage_free(kept)
    line = replace(line, why=(*line.why, *grown_up(stage, terms.ageing)))
    pages = tuple(
        TubPage(tub.tub, stock.aged(known, as_of, terms.ageing, stage), tub.lower, tub.stale, by_tub[tub.tub])
        for tub in kept.tubs
        if (known := beliefs[tub.tub]) is not None
    )
    return StagePage(stage, line, kept.breeders, pages)


def _promised(held: Sequence[Promise], tub: int) -> int:
    return sum(promise.number for promise in held if promise.tub == tub)
