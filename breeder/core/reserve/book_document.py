"""Read the document of the `reckon` subject `book` and note every fault with its place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from breeder.core.counting.defaults import ADULT_LIFE_MONTHS, STALE_AFTER_MONTHS, WIDENING_PER_MONTH
from breeder.core.counting.errors import MOST_ANIMALS, MOST_CONFIDENCE, MOST_SHARED_SD
from breeder.core.counting.reckon import read_count
from breeder.core.jsonio.document_reader import Reader
from breeder.core.stock.events import Ageing, ApproximateChange, Event, ExactChange, count_event

from .book import ADULTS, STAGES, BookEntry, BookPromise, LineTerms
from .defaults import ADULTS_KEPT, CONFIDENCE, PURPOSES
from .surplus import Tub

MOST_MONTHS, MOST_WIDENING = 1e6, 10.0  # more is a typing slip
Confidences = tuple[float, ...]  # one-sided; the levels at which bounds are kept
KINDS = ("count", "change", "about", "correct")


@dataclass(frozen=True)
class BookDocument:
    """A valid document; `notes` names, by stage, the counts that determine nothing."""

    as_of: date
    terms: LineTerms
    tubs: tuple[Tub, ...]
    entries: tuple[BookEntry, ...]
    promises: tuple[BookPromise, ...]
    notes: dict[str, list[str]]


def read_book(reader: Reader) -> BookDocument:
    """Return the document. Raises BadInput with every fault."""
    as_of = _day(reader, "as_of")
    terms = _terms(reader.object("line"))
    tubs = _tubs(reader)
    known = {tub.tub for tub in tubs}
    notes: dict[str, list[str]] = {}
    entries = _entries(reader, known, notes, (terms.confidence,))
    promises = tuple(_promise(promise, known) for promise in reader.objects("promises", default=()))
    reader.finish()
    return BookDocument(as_of, terms, tubs, entries, promises, notes)


def _day(reader: Reader, name: str) -> date:
    text = reader.text(name)
    try:
        return date.fromisoformat(text)
    except ValueError:
        if text:
            reader.fault(name, f"It is “{text}”, but it must be a day such as 2026-03-01.")
        return date.min


def _terms(reader: Reader) -> LineTerms:
    kept = {ADULTS: ADULTS_KEPT}
    minimum = reader.object_or_none("breeding_minimum")
    if minimum is not None:
        named = {stage: minimum.whole_or_none(stage, low=0, high=MOST_ANIMALS) for stage in STAGES}
        kept |= {stage: number for stage, number in named.items() if number is not None}
        minimum.done()
    terms = LineTerms(
        kept,
        reader.number("confidence", low=0.5, high=MOST_CONFIDENCE, default=CONFIDENCE),
        reader.number("handling_loss", low=0, below=1, default=0.0),
        reader.number_or_none("harvest_share", low=0, high=1),
        Ageing(
            reader.number("adult_life_months", above=0, high=MOST_MONTHS, default=ADULT_LIFE_MONTHS),
            reader.number("widening_per_month", low=0, high=MOST_WIDENING, default=WIDENING_PER_MONTH),
            reader.number("stale_after_months", low=0, default=STALE_AFTER_MONTHS),
            *_young(reader),
        ),
    )
    reader.done()
    return terms


def _young(reader: Reader) -> tuple[float | None, float]:
    """Return the months that young take to grow up and the share that survives them; (None, 1): young do not age."""
    mature = reader.number_or_none("young_mature_months", above=0, high=MOST_MONTHS)
    survival = reader.number_or_none("young_survival", low=0, high=1)
    if (mature is None) != (survival is None) and reader.usable:
        missing, other = ("young_mature_months", "young_survival")[:: 1 if mature is None else -1]
        reader.fault(missing, f"“{other}” is given without it. Give both, or neither if young do not age.")
    return mature, 1.0 if survival is None else survival


def _tubs(reader: Reader) -> tuple[Tub, ...]:
    tubs: list[Tub] = []
    for item in reader.objects("tubs"):
        number = item.whole("tub", low=0)
        if number in {tub.tub for tub in tubs}:
            item.fault("tub", f"Tub {number} is listed more than once; keep one.")
        tubs.append(Tub(number, item.choice("purpose", PURPOSES)))
        item.done()
    return tuple(tubs)


def _entries(
    reader: Reader, tubs: set[int], notes: dict[str, list[str]], confidences: Confidences
) -> tuple[BookEntry, ...]:
    readers = reader.objects("entries", default=())
    entries = [_entry(entry, tubs, notes, confidences) for entry in readers]
    by_id: dict[int, BookEntry] = {}
    for entry, source in zip(entries, readers, strict=True):
        if entry.id in by_id and source.usable:
            source.fault("id", f"Entry {entry.id} occurs more than once. Give each entry its own id.")
        by_id.setdefault(entry.id, entry)
    rings = _leading_into_rings(by_id)
    for entry, source in zip(entries, readers, strict=True):
        _check_correction(entry, source, by_id, rings)
    return tuple(entries)


def _check_correction(entry: BookEntry, reader: Reader, by_id: dict[int, BookEntry], rings: set[int]) -> None:
    if entry.corrects is None:
        return
    wrong = by_id.get(entry.corrects)
    if wrong is None:
        reader.fault("corrects", f"There is no entry {entry.corrects}. Name the entry that was wrong.")
    elif wrong.id == entry.id:
        reader.fault("corrects", "An entry cannot correct itself. Name the entry that was wrong.")
    elif wrong.tub != entry.tub:
        reader.fault("corrects", f"Entry {wrong.id} is about tub {wrong.tub}, not tub {entry.tub}. Name the right one.")
    elif entry.id in rings:
        reader.fault("corrects", "These corrections correct each other in a ring. Take one of them out.")


def _leading_into_rings(by_id: dict[int, BookEntry]) -> set[int]:
    """Return the corrections whose chain never reaches an entry that corrects nothing."""
    in_ring: dict[int, bool] = {}
    for first in by_id:
        chain: list[int] = []
        at: int | None = first
        while at is not None and at in by_id and at not in in_ring:
            in_ring[at] = True  # until the chain turns out to end
            chain.append(at)
            at = by_id[at].corrects
        endless = at is not None and at in by_id and in_ring[at]
        in_ring |= dict.fromkeys(chain, endless)
    return {number for number, endless in in_ring.items() if endless}


def _entry(reader: Reader, tubs: set[int], notes: dict[str, list[str]], confidences: Confidences) -> BookEntry:
    number, tub, on = reader.whole("id"), reader.whole("tub"), _day(reader, "on")
    if tub not in tubs and reader.has("tub"):
        reader.fault("tub", f"Tub {tub} is not among the tubs. Add it there, or correct the number.")
    kind = reader.choice("kind", KINDS)
    if kind not in KINDS:
        reader.names()  # without a kind no field can be called wrong
        return BookEntry(number, tub, on)
    if reader.has("reason"):
        reader.text("reason")
    if kind == "correct":
        if reader.has("stage"):
            reader.choice("stage", STAGES)
        entry = BookEntry(number, tub, on, corrects=reader.whole("corrects"))
    else:
        stage = reader.choice("stage", STAGES)
        event = _event(reader, kind, on, number, notes.setdefault(stage, []), confidences)
        entry = BookEntry(number, tub, on, stage, event)
    reader.done()
    return entry


def _event(
    reader: Reader, kind: str, on: date, number: int, notes: list[str], confidences: Confidences
) -> Event | None:
    if kind == "change":
        moved = reader.whole("number", low=-MOST_ANIMALS, high=MOST_ANIMALS)
        return ExactChange(on, moved, reader.text("reason") if reader.has("reason") else "")
    if kind == "about":
        about = reader.whole("number", low=-MOST_ANIMALS, high=MOST_ANIMALS)
        return ApproximateChange(
            on,
            about,
            reader.number("log_sd", low=0, high=MOST_SHARED_SD),
            reader.number_or_none("share", above=0, high=1),
        )
    before = len(reader.faults)
    count = read_count(reader.object("count"))
    if count is None or len(reader.faults) > before:
        return None
    if count.estimate is None or count.log_sd is None:
        notes.append(f"Entry {number} says nothing about the number: {' '.join(count.notes)}")
        return None
    return count_event(on, count, confidences=confidences)


def _promise(reader: Reader, tubs: set[int]) -> BookPromise:
    stage = reader.choice("stage", STAGES)
    number = reader.whole("number", low=0, high=MOST_ANIMALS)
    tub = reader.whole_or_none("tub")
    if tub is not None and tub not in tubs:
        reader.fault("tub", f"Tub {tub} is not among the tubs. Add it there, or correct the number.")
    reader.done()
    return BookPromise(stage, number, tub)
