"""Animals from one tub into another: counted over, or tipped over by a share; both sides are written, linked."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from breeder.core.stock.belief import StockBelief
from breeder.core.stock.merge_split import tip_events
from breeder.core.stock.serialize import as_json
from breeder.cultures import belief_store, steps, tub_ledger
from breeder.cultures.actions import line_lock
from breeder.cultures.models import Culture, Entry

# How far "about half" may be off, on the log scale: 95 % of halves lie between 0.37 and 0.67 of the tub. Common
# practice, no source.
TIPPED_SHARE_SD = 0.15


@dataclass(frozen=True)
class Animals:
    """Animals counted one by one: `males` and `females` are part of `number`."""

    stage: str
    number: int
    males: int = 0
    females: int = 0


def tip_over(
    source: Culture, target: Culture, stage: str, share: float, at: datetime, by: Any, *, closing: int | None = None
) -> None:
    """Write both sides of tipping a share of a tub over; `closing` is the entry that closes a tub tipped out whole.

    The numbers in them only tell the reader how many that was: the replay works them out again from what the tub held
    at that moment.
    """
    spread = TIPPED_SHARE_SD if share < 1 else 0.0
    held = belief_store.load({source.pk})[0].held_at(source.pk, stage, at).belief
    number = _tipped_number(held, source, stage, share, at)
    given = {"share": share, "share_log_sd": spread} | ({"closing": closing} if closing else {})
    shared = {
        "kind": Entry.Kind.ABOUT,
        "stage": stage,
        "reason": Entry.Reason.MOVED,
        "happened_at": at,
        "by": by,
        "given": given,
    }
    out = steps.write_entry(source, number=-number, log_sd=spread, **shared)
    if target.line_id != source.line_id:  # its replay must not wait for another line's lock: it keeps what the tub held
        was = {} if held is None else {"of": as_json(held), "share_log_sd": spread}
        shared["given"] = {"tipped": share} | was | ({"closing": closing} if closing else {})
    steps.write_entry(target, number=number, log_sd=spread, other_side=out, **shared)


def _tipped_number(held: StockBelief | None, source: Culture, stage: str, share: float, at: datetime) -> int:
    if held is None:
        return 0
    out, _ = tip_events(held, at, share, 0.0, tub_ledger.ageing_of(source.line), stage)
    return -out.number


def carry(source: Culture, target: Culture, animals: Animals, at: datetime, by: Any, *, note: str = "") -> Entry:
    """Write both sides of carrying counted animals over, linked, and return the entry of the tub they left."""
    line_lock.check_stage(target.line, animals.stage)
    shared = {
        "stage": line_lock.check_stage(source.line, animals.stage),
        "reason": Entry.Reason.MOVED,
        "happened_at": at,
        "note": note,
        "by": by,
    }
    out = steps.write_entry(
        source,
        Entry.Kind.CHANGE,
        number=-animals.number,
        **line_lock.signed_sexes(-1, animals.males, animals.females),
        **shared,
    )
    steps.write_entry(
        target,
        Entry.Kind.CHANGE,
        number=animals.number,
        other_side=out,
        **line_lock.signed_sexes(+1, animals.males, animals.females),
        **shared,
    )
    return out
