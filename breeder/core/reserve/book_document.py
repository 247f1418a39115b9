"""Reading the document of the subject `book`, every fault noted with its place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from breeder.core.counting.defaults import ADULT_LIFE_MONTHS, STALE_AFTER_MONTHS, WIDENING_PER_MONTH
from breeder.core.counting.errors import MOST_ANIMALS, MOST_CONFIDENCE, MOST_SHARED_SD
from breeder.core.counting.reckon import read_count
from breeder.core.jsonio import Reader
from breeder.core.stock import About, Ageing, Event, Moved, counted_from

from .book import ADULTS, STAGES, YOUNG, Entry, Promise, Terms, Tub
from .defaults import ADULTS_KEPT, CONFIDENCE, PURPOSES

MOST_MONTHS, MOST_WIDENING = 1e6, 10.0  # a slip of the finger beyond that
Confidences = tuple[float, ...]  # those at which bounds are asked for, one-sided
KINDS = ("count", "change", "about", "correct")


@dataclass(frozen=True)
class BookDocument:
    """The document, read and found whole; `notes` by stage are counts that determine nothing."""

    as_of: date
    terms: Terms
    tubs: tuple[Tub, ...]
    entries: tuple[Entry, ...]
    promises: tuple[Promise, ...]
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


def _terms(reader: Reader) -> Terms:
    kept = {ADULTS: ADULTS_KEPT}
    minimum = reader.object_or_none("breeding_minimum")
    if minimum is not None:
        named = {stage: minimum.whole_or_none(stage, low=0, high=MOST_ANIMALS) for stage in STAGES}
        kept |= {stage: number for stage, number in named.items() if number is not None}
        minimum.done()
    terms = Terms(
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
    """Return how long young take to grow up, in months, and the share that lives to; without them young do not age."""
    mature = reader.number_or_none("young_mature_months", above=0, high=MOST_MONTHS)
    survival = reader.number_or_none("young_survival", low=0, high=1)
    if (mature is None) != (survival is None) and reader.usable:
        missing, other = ("young_mature_months", "young_survival")[:: 1 if mature is None else -1]
        reader.fault(missing, f"“{other}” is given without it. Give both, or neither if young do not age.")
    return mature, 1.0 if survival is None else survival


def _tubs(reader: Reader) -> tuple[Tub, ...]:
    found: list[Tub] = []
    for tub in reader.objects("tubs"):
        number = tub.whole("tub", low=0)
        if number in {other.tub for other in found}:
            tub.fault("tub", f"Tub {number} is listed more than once; keep one.")
        found.append(Tub(number, tub.choice("purpose", PURPOSES)))
        tub.done()
    return tuple(found)


def _entries(
    reader: Reader, tubs: set[int], notes: dict[str, list[str]], confidences: Confidences
) -> tuple[Entry, ...]:
    readers = reader.objects("entries", default=())
    entries = [_entry(entry, tubs, notes, confidences) for entry in readers]
    by_id: dict[int, Entry] = {}
    for entry, found in zip(entries, readers, strict=True):
        if entry.id in by_id and found.usable:
            found.fault("id", f"Entry {entry.id} occurs more than once. Give each entry its own id.")
        by_id.setdefault(entry.id, entry)
    rings = _leading_into_rings(by_id)
    for entry, found in zip(entries, readers, strict=True):
        _check_correction(entry, found, by_id, rings)
    return tuple(entries)


def _check_correction(entry: Entry, reader: Reader, by_id: dict[int, Entry], rings: set[int]) -> None:
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


def _leading_into_rings(by_id: dict[int, Entry]) -> set[int]:
    """Return the corrections that, followed from one to the next, never come to an entry that corrects nothing."""
    known: dict[int, bool] = {}
    for first in by_id:
        way: list[int] = []
        at: int | None = first
        while at is not None and at in by_id and at not in known:
            known[at] = True  # until the way is seen to end
            way.append(at)
            at = by_id[at].corrects
        endless = at is not None and at in by_id and known[at]
        known |= dict.fromkeys(way, endless)
    return {number for number, endless in known.items() if endless}


def _entry(reader: Reader, tubs: set[int], notes: dict[str, list[str]], confidences: Confidences) -> Entry:
    number, tub, on = reader.whole("id"), reader.whole("tub"), _day(reader, "on")
    if tub not in tubs and reader.has("tub"):
        reader.fault("tub", f"Tub {tub} is not among the tubs. Add it there, or mend the number.")
    kind = reader.choice("kind", KINDS)
    if kind not in KINDS:
        reader.names()  # which fields belong is not known without a kind
        return Entry(number, tub, on)
    if reader.has("reason"):
        reader.text("reason")
    if kind == "correct":
        if reader.has("stage"):
            reader.choice("stage", STAGES)
        entry = Entry(number, tub, on, corrects=reader.whole("corrects"))
    else:
        stage = reader.choice("stage", STAGES)
        event = _event(reader, kind, on, number, notes.setdefault(stage, []), confidences)
        entry = Entry(number, tub, on, stage, event)
    reader.done()
    return entry


def _event(
    reader: Reader, kind: str, on: date, number: int, notes: list[str], confidences: Confidences
) -> Event | None:
    if kind == "change":
        moved = reader.whole("number", low=-MOST_ANIMALS, high=MOST_ANIMALS)
        return Moved(on, moved, reader.text("reason") if reader.has("reason") else "")
    if kind == "about":
        about = reader.whole("number", low=-MOST_ANIMALS, high=MOST_ANIMALS)
        return About(
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
    return counted_from(on, count, confidences=confidences)


def _promise(reader: Reader, tubs: set[int]) -> Promise:
    stage = reader.choice("stage", STAGES)
    number = reader.whole("number", low=0, high=MOST_ANIMALS)
    tub = reader.whole_or_none("tub")
    if tub is not None and tub not in tubs:
        reader.fault("tub", f"Tub {tub} is not among the tubs. Add it there, or mend the number.")
    reader.done()
    return Promise(stage, number, tub)


__all__ = ["ADULTS", "YOUNG", "BookDocument", "read_book"]
