"""The entries of a tub in order of replay, and what it holds after them, in whatever order they were typed."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from django.utils import timezone

from breeder.core.stock import replay
from breeder.core.stock.belief import StockBelief, with_calendar_days
from breeder.core.stock.events import Ageing, ApproximateChange, CountEvent, Event, ExactChange, count_event
from breeder.core.stock.merge_split import ShareTippedIn, tip_in
from breeder.core.stock.serialize import from_json
from breeder.core.stock.valid_entries import withdrawn_entries
from breeder.cultures import count_entry, young_ageing
from breeder.cultures.models import Entry
from breeder.cultures.sex_counts import Known, known_after
from breeder.species.models import Line

COUNTING_KINDS = (Entry.Kind.COUNT, Entry.Kind.CHANGE, Entry.Kind.ABOUT)


@dataclass(frozen=True)
class Held:
    """What one tub and stage holds after its events: the census room's belief, and the sexes known to be there."""

    belief: StockBelief | None = None
    sexes: Known = field(default_factory=Known)
    last_count: Entry | None = None


def ageing_of(line: Line) -> Ageing:
    """Return how beliefs of this line fade: by its species' adult life, and how its young grow up and survive."""
    return Ageing(
        adult_life_months=float(line.species.adult_life_months),
        young_mature_months=young_ageing.mature_months(line.species),
        young_survival=young_ageing.survival(line.species),
    )


def in_local_days(belief: StockBelief) -> StockBelief:
    """Return a belief to be read on a day of the keeper's: counted at breakfast in Sydney, it is not a day old."""
    zone = timezone.get_current_timezone()  # asked once: a page reads hundreds of beliefs
    return with_calendar_days(belief, lambda at: at.astimezone(zone).date() if isinstance(at, datetime) else at)


def void_ids(corrections: Iterable[Any]) -> set[int]:
    """Return the entries that are put right by these corrections; a corrected correction takes nothing back.

    Of each only `pk` and `corrects_id` are asked for: entries, or rows of these two columns.
    """
    return withdrawn_entries({entry.pk: entry.corrects_id for entry in corrections if entry.corrects_id is not None})


def order_of(entry: Entry) -> tuple[Any, ...]:
    """Return where an entry stands in the replay: by when it happened, then by what it says, never by when it was
    typed.

    At one and the same moment what came in was there to be counted, and what went out left after the count, so that a
    tie never makes the bound greater. A tub is tipped out before it is tipped into: two tubs tipped into each other at
    one moment would otherwise wait for each other.
    """
    number = entry.number or 0
    if entry.kind == Entry.Kind.CHANGE:
        rank = 0 if number > 0 else 2
    elif entry.kind == Entry.Kind.COUNT:
        rank = 1
    else:
        rank = 4 if number > 0 or entry.other_side_id else 3
    says = (entry.estimate or 0.0, entry.log_sd or 0.0, number, entry.reason, entry.males or 0, entry.females or 0)
    return (entry.happened_at, rank, *says, entry.method)


class Ledger:
    """The entries of some tubs in order of replay, without those that were put right."""

    def __init__(self, entries: Iterable[Entry], ageing: dict[int, Ageing]) -> None:
        entries = [_by_todays_method(entry) for entry in entries]
        void = void_ids(entry for entry in entries if entry.kind == Entry.Kind.CORRECT)
        self._ageing = ageing
        self._by_tub: dict[tuple[int, str], list[Entry]] = {}
        self._known: dict[tuple[int, str, int | None], Held] = {}
        self._by_id = {entry.pk: entry for entry in entries}
        for entry in sorted((e for e in entries if e.kind in COUNTING_KINDS and e.pk not in void), key=order_of):
            self._by_tub.setdefault((entry.culture_id, entry.stage), []).append(entry)

    def ageing(self, culture_id: int) -> Ageing:
        """Return the constants by which a tub's beliefs fade."""
        return self._ageing[culture_id]

    def entries_of(self, culture_id: int, stage: str) -> list[Entry]:
        """Return the standing entries of one tub and stage, in order of replay."""
        return self._by_tub.get((culture_id, stage), [])

    def story(self, culture_id: int, stage: str) -> list[tuple[Entry, Held]]:
        """Return each standing entry with what the tub held after it."""
        held, found = Held(), []
        for entry in self.entries_of(culture_id, stage):
            held = self.after(held, entry)
            found.append((entry, held))
        return found

    def held_at(self, culture_id: int, stage: str, at: datetime) -> Held:
        """Return what a tub held at a moment."""
        told = [held for entry, held in self.story(culture_id, stage) if entry.happened_at <= at]
        return told[-1] if told else Held()

    def held(self, culture_id: int, stage: str, *, before: int | None = None) -> Held:
        """Return what a tub holds after all its entries, or before the one named."""
        key = (culture_id, stage, before)
        if key not in self._known:
            held = Held()
            for entry in self.entries_of(culture_id, stage):
                if entry.pk == before:
                    break
                held = self.after(held, entry)
            self._known[key] = held
        return self._known[key]

    def after(self, held: Held, entry: Entry) -> Held:
        """Return what a tub holds after one more entry."""
        ageing, stage = self._ageing[entry.culture_id], entry.stage
        poured = self._poured_in(entry)
        if poured is not None:
            return Held(tip_in(held.belief, poured), held.sexes, held.last_count)
        if _is_tipped_in(entry):  # out of a tub of which nothing was known: that stays so
            return held
        belief = held.belief
        if not (_is_tipped_out(entry) and belief is None):
            belief = replay.apply_event(belief, event_of(entry), ageing, stage)
        last = entry if entry.kind == Entry.Kind.COUNT else held.last_count
        # A tub begins empty, so what is moved into a new one is known by sex too.
        sexes = Known(0, 0) if held.belief is None and entry.males is not None else held.sexes
        return Held(belief, known_after(sexes, entry), last)

    def _poured_in(self, entry: Entry) -> ShareTippedIn | None:
        """Return what was tipped in from another tub, as its own entries tell it; None for any other entry."""
        if not _is_tipped_in(entry) or entry.other_side_id is None:
            return None
        out = self._by_id[entry.other_side_id]
        source = self.held(out.culture_id, out.stage, before=out.pk).belief
        if source is None:
            return None
        return ShareTippedIn(entry.happened_at, entry.given["share"], entry.given["share_log_sd"], source)


def _is_tipped_in(entry: Entry) -> bool:
    return entry.kind == Entry.Kind.ABOUT and "share" in entry.given and entry.other_side_id is not None


def _is_tipped_out(entry: Entry) -> bool:
    return entry.kind == Entry.Kind.ABOUT and "share" in entry.given and entry.other_side_id is None


def _by_todays_method(entry: Entry) -> Entry:
    """Give a count that was read the figures that its method finds today; what is stored of it stays as it was."""
    if entry.kind == Entry.Kind.COUNT and (count := count_entry.counted_again(entry)) is not None:
        entry.estimate, entry.lower, entry.log_sd = count.estimate, count.lower, count.log_sd
    return entry


def event_of(entry: Entry) -> Event | ShareTippedIn:
    """Return an entry as the census room takes it, a count by today's method."""
    at = entry.happened_at.astimezone(UTC)  # as it is read back, so that a count that is only shown ages no otherwise
    if entry.kind == Entry.Kind.COUNT:
        count = count_entry.counted_again(entry)
        if count is not None:
            return count_event(at, count)
        exact = entry.log_sd == 0.0 and entry.method in count_entry.ONE_BY_ONE
        return CountEvent(at, entry.estimate or 0.0, entry.log_sd or 0.0, entry.shared_sd or 0.0, exact)
    if entry.kind == Entry.Kind.CHANGE:
        return ExactChange(at, entry.number or 0, entry.reason)
    if _is_tipped_out(entry):
        return ApproximateChange(at, entry.number or 0, entry.given["share_log_sd"], entry.given["share"])
    if "of" in entry.given:  # tipped in from another line, whose tub is kept here as it was believed then
        return ShareTippedIn(at, entry.given["tipped"], entry.given["share_log_sd"], from_json(entry.given["of"]))
    return ApproximateChange(at, entry.number or 0, entry.log_sd or 0.0, None, entry.shared_sd or 0.0)
