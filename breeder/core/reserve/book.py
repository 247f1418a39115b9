"""The stock book of one line without a database: from its entries to what may be sold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from breeder.core.stock.belief import StockBelief, aged
from breeder.core.stock.events import Ageing, ApproximateChange, CountEvent, Event, ExactChange
from breeder.core.stock.replay import replay
from breeder.core.stock.valid_entries import withdrawn_entries

from .defaults import ADULTS_KEPT, CONFIDENCE
from .surplus import Free, StageHoldings, Tub, grown_up_text, stage_free, tub_stage

ADULTS, YOUNG = "adults", "young"
STAGES = (ADULTS, YOUNG)

Events = dict[tuple[int, str], list[Event]]  # by tub and stage, in the order of events


@dataclass(frozen=True)
class LineTerms:
    """The keeper's settings for a line: animals kept back by stage, shares, confidence, and how beliefs age."""

    kept_back: dict[str, int] = field(default_factory=lambda: {ADULTS: ADULTS_KEPT})
    confidence: float = CONFIDENCE
    handling_loss: float = 0.0
    harvest_share: float | None = None
    ageing: Ageing = field(default_factory=Ageing)

    def kept(self, stage: str) -> int:
        """Return the number of a stage that stays; young use the adults' number unless they have their own."""
        return self.kept_back.get(stage, self.kept_back.get(ADULTS, 0))

    def harvest(self, stage: str) -> float | None:
        """Return the harvest share of a stage; only young have one."""
        return self.harvest_share if stage == YOUNG else None


@dataclass(frozen=True)
class BookEntry:
    """One entry: an event of a tub and stage, or the correction of another entry, which then never happened."""

    id: int
    tub: int
    on: date
    stage: str = ""
    event: Event | None = None
    corrects: int | None = None


@dataclass(frozen=True)
class BookPromise:
    """Animals promised from the line, perhaps from one tub."""

    stage: str
    number: int
    tub: int | None = None


@dataclass(frozen=True)
class TubFigures:
    """The book's figures for one tub and stage on a day; `aged` is the belief on that day, `lower` its bound."""

    tub: int
    aged: StockBelief
    lower: int
    stale: bool
    free: Free


@dataclass(frozen=True)
class StageFigures:
    """The book's figures for one stage of the line."""

    stage: str
    line: Free
    breeders: int
    tubs: tuple[TubFigures, ...]


def open_book(
    as_of: date, terms: LineTerms, tubs: Sequence[Tub], entries: Iterable[BookEntry], promises: Sequence[BookPromise]
) -> dict[str, StageFigures]:
    """Return, by stage, what the line holds and can spare on `as_of`; entries after that day have not happened yet.

    Entries may come in any order and with any ids. They are replayed by day and, within a day, in a fixed order (see
    `standing`). Raises ValueError when corrections correct each other in a ring.
    """
    happened = [entry for entry in entries_in_order(entries) if entry.on <= as_of]
    events: Events = defaultdict(list)
    for entry in happened:
        if entry.event is not None:
            events[entry.tub, entry.stage].append(entry.event)
    stages = {entry.stage for entry in happened} | {promise.stage for promise in promises} | set(terms.kept_back)
    return {stage: _stage_page(stage, as_of, terms, tubs, events, promises) for stage in STAGES if stage in stages}


def entries_in_order(entries: Iterable[BookEntry]) -> list[BookEntry]:
    """Return the valid entries in the order of events, without corrections and corrected entries.

    A correction that is itself corrected no longer counts, so the entry it named is valid again. Within a day the order
    depends on the entries themselves, never on typing: animals that came in were there for the count, and animals that
    went out left after it. So a tie never raises a bound.
    """
    ordered = sorted(entries, key=lambda entry: (entry.on, *_rank_in_day(entry.event), entry.id))
    corrected = withdrawn_entries({entry.id: entry.corrects for entry in ordered if entry.corrects is not None})
    return [entry for entry in ordered if entry.event is not None and entry.id not in corrected]


def _rank_in_day(event: Event | None) -> tuple[int, float, float]:
    if isinstance(event, CountEvent):
        return 1, event.estimate, event.log_sd
    if isinstance(event, ExactChange):
        return (0 if event.number > 0 else 2), event.number, 0.0
    if isinstance(event, ApproximateChange):
        return (4 if event.number > 0 else 3), event.number, event.log_sd
    return 5, 0.0, 0.0


def _stage_page(
    stage: str, as_of: date, terms: LineTerms, tubs: Sequence[Tub], events: Events, promises: Sequence[BookPromise]
) -> StageFigures:
    levels = (terms.confidence,)
    beliefs = {tub.tub: replay(events.get((tub.tub, stage), ()), terms.ageing, stage, levels) for tub in tubs}
    open_promises = [promise for promise in promises if promise.stage == stage]
    stock = StageHoldings(
        stage,
        tuple(
            tub_stage(
                tub, beliefs[tub.tub], stage, as_of, terms.confidence, terms.ageing, _promised(open_promises, tub.tub)
            )
            for tub in tubs
        ),
        terms.kept(stage),
        sum(promise.number for promise in open_promises),
        terms.handling_loss,
        terms.harvest(stage),
    )
    line, by_tub = stage_free(stock)
    line = replace(line, why=(*line.why, *grown_up_text(stage, terms.ageing)))
    pages = tuple(
        TubFigures(tub.tub, aged(known, as_of, terms.ageing, stage), tub.lower, tub.stale, by_tub[tub.tub])
        for tub in stock.tubs
        if (known := beliefs[tub.tub]) is not None
    )
    return StageFigures(stage, line, stock.breeders, pages)


def _promised(promises: Sequence[BookPromise], tub: int) -> int:
    return sum(promise.number for promise in promises if promise.tub == tub)
