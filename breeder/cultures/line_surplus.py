"""From rows to what a line can spare: the census and reserve rooms' arithmetic, put into the keeper's words."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.utils import timezone

from breeder.base.dates import day_said
from breeder.core.counting.quantiles import whole_below
from breeder.core.reserve import cup_stock, surplus
from breeder.core.stock import belief
from breeder.core.stock.belief import aged
from breeder.core.stock.serialize import from_json
from breeder.cultures import young_ageing
from breeder.cultures.line_minimum import minimum_of, size_kept
from breeder.cultures.line_stock import LineStock, StageStock, TubStock
from breeder.cultures.models import Belief, Culture, Promise, Stage
from breeder.cultures.sex_counts import Known, still_known
from breeder.cultures.tub_ledger import ageing_of, in_local_days
from breeder.species.models import Line


@dataclass(frozen=True)
class LineRows:
    """One line with its open tubs, all stored beliefs by (tub, stage), and the promises that hold animals of it."""

    line: Line
    tubs: tuple[Culture, ...]
    beliefs: Mapping[tuple[int, str], Belief]
    promises: tuple[Promise, ...]


@dataclass(frozen=True)
class Read:
    """A stored belief of one tub and stage, as it reads on a day."""

    tub: Culture
    row: Belief
    now: belief.StockBelief
    there: surplus.TubStage

    @property
    def lower(self) -> int:
        """Return the number that is safe to rely on."""
        return self.there.lower

    @property
    def is_stale(self) -> bool:
        """Return whether the last count is too old to sell on."""
        return self.there.stale

    @property
    def is_outgrown(self) -> bool:
        """Return whether all that were counted have died or grown up since."""
        return self.row.middle > 0 and not self.now.middle and not self.is_stale

    @property
    def likely_exact(self) -> float:
        """Return the likely number, not rounded to whole animals."""
        return self.now.expected

    @property
    def likely(self) -> int:
        """Return the likely number in whole animals."""
        return whole_below(self.likely_exact)

    @property
    def sexes(self) -> Known:
        """Return the males and females surely there: none that is not safe to rely on."""
        return still_known(Known(self.row.males, self.row.females), self.lower)


def stock_from(rows: LineRows, on: date) -> LineStock:
    """Return what a line can spare on a day, from its rows."""
    line = rows.line
    why_not = why_not_sold(line, on)
    if line.sold_by == Line.SoldBy.CUP:
        stages = {Stage.CUPS.value: cups_of(rows, on, sellable=not why_not)}
    else:
        kept = (Stage.ADULTS.value, Stage.YOUNG.value)
        stages = {stage: stage_of(rows, stage, on, sellable=not why_not) for stage in kept}
    return LineStock(
        line.pk,
        line.sold_by,
        stages,
        not why_not,
        why_not,
        str(line),
        line.resting_until,
        line.irreplaceable,
        line.frozen_because,
    )


def why_not_sold(line: Line, on: date) -> str:
    """Return why nothing of a line is sold on a day, as a sentence; empty when it may be."""
    if line.status == Line.Status.CLOSED:
        return "the line is closed. Choose another line."
    if line.not_for_sale:
        return f"it is not for sale ({line.not_for_sale.rstrip('.')}). Choose another line."
    if line.resting_until and line.resting_until > on:
        return f"it rests until {day_said(line.resting_until)}. Choose another line, or ask again then."
    return ""


def stage_of(rows: LineRows, stage: str, on: date, *, sellable: bool) -> StageStock:
    """Return one stage of a line kept by the animal."""
    line = rows.line
    promises = [promise for promise in rows.promises if promise.stage == stage]
    known = [(tub, rows.beliefs[tub.pk, stage]) for tub in rows.tubs if (tub.pk, stage) in rows.beliefs]
    read = [as_read(tub, row, line, on, _promised_from(tub, promises)) for tub, row in known]
    offered = [one for one in read if not one.tub.not_for_sale]
    held = surplus.StageHoldings(
        stage=stage,
        tubs=tuple(one.there for one in offered),
        kept_back=minimum_of(line).number if stage == Stage.ADULTS else line.young_kept,
        promised=sum(promise.number for promise in promises),
        handling_loss=float(line.handling_loss),
        harvest_share=_harvest_share(line, stage),
    )
    whole, by_tub = surplus.stage_free(held)
    tubs = tuple(_tub_stock(one, by_tub.get(one.tub.number), whole, on, sellable) for one in read)
    soon_grown = surplus.grown_up_text(stage, ageing_of(line))
    counting = [one for one in offered if purpose_on(one.tub, on) in surplus.GIVES_SURPLUS]
    oldest = min(counting, key=lambda one: one.row.counted_at.isoformat() if one.row.counted_at else "", default=None)
    return StageStock(
        stage=stage,
        lower=held.lower,
        likely=sum(one.likely for one in counting if not one.is_stale),
        kept_back=held.kept_back,
        promised=held.promised,
        free=whole.number if sellable else 0,
        short=whole.short,
        counted_on=_day(oldest.row) if oldest else None,
        method=oldest.row.method if oldest else "",
        is_stale=any(one.is_stale for one in counting),
        tubs=tubs,
        why=(
            *whole.why,
            *soon_grown,
            *_growing_up(stage, line, read),
            *(_kept_out(one.tub) for one in read if one.tub.not_for_sale),
        ),
        males=_sum_known(counting, "males"),
        females=_sum_known(counting, "females"),
        promised_males=sum(promise.males for promise in promises),
        promised_females=sum(promise.females for promise in promises),
        each_sex_kept=line.each_sex_kept,
        reproduction=line.species.reproduction,
        share_female=float(line.species.share_female),
        size_kept=size_kept(line) if stage == Stage.ADULTS else 0.0,
        shown_by=line.shown_by,
        spare=whole.spare,
        may_go=whole.may_go,
        soon_grown=" ".join(soon_grown),
    )


def cups_of(rows: LineRows, on: date, *, sellable: bool) -> StageStock:
    """Return the cups of a line sold by the cup: what is rested, what is promised, when the next tub is rested."""
    promises = [promise for promise in rows.promises if promise.stage == Stage.CUPS]
    offered = [tub for tub in rows.tubs if not tub.not_for_sale]
    looked = {tub.pk: rows.beliefs.get((tub.pk, Stage.CUPS.value)) for tub in rows.tubs}
    parts = {tub.pk: cup_parts(tub, looked[tub.pk], rows.line, on) for tub in offered}
    every = [part for tub in offered for part in parts[tub.pk]]
    free = cup_stock.free_cups(every, on, promised=sum(promise.number for promise in promises))
    found = []
    for tub in rows.tubs:
        own = parts.get(tub.pk, ())
        named = sum(promise.number for promise in promises if promise.culture_id == tub.pk)
        alone = cup_stock.free_cups(own, on, promised=named)
        row = looked[tub.pk]
        found.append(
            TubStock(
                tub.pk, tub.number, purpose_on(tub, on), lower=alone.lower, likely=alone.lower, moved=0,
                free=min(free.number, alone.number) if sellable else 0, counted_on=_day(row) if row else None,
                is_stale=False, males=None, females=None, gives=bool(own),
            )
        )  # fmt: skip
    days = [tub.counted_on for tub in found if tub.counted_on]
    return StageStock(
        stage=Stage.CUPS.value,
        lower=free.lower,
        likely=free.lower,
        kept_back=0,
        promised=free.promised,
        free=free.number if sellable else 0,
        short=free.short,
        counted_on=max(days, default=None),
        method="looked",
        is_stale=False,
        tubs=tuple(found),
        why=(*free.why, *(_kept_out(tub) for tub in rows.tubs if tub.not_for_sale)),
        next_cup_on=cup_stock.next_cup_on(every, on),
    )


def cup_parts(tub: Culture, row: Belief | None, line: Line, on: date) -> tuple[cup_stock.CupTub, ...]:
    """Return a tub's cups as the reserve room takes them: those still there, and each that was taken and rests.

    Taken apart, so that packing one cup of a tub that gives two leaves the other free.
    """
    rest = line.cup_rest_days
    taken = [(_taken_on(told), number) for told, number in (row.used["taken"] if row else ())]
    resting = [(day, number) for day, number in taken if 0 <= (on - day).days < rest]
    left = max(0, line.cups_per_tub - sum(number for _, number in resting))
    purpose = purpose_on(tub, on)
    return (
        cup_stock.CupTub(tub.number, purpose, left, rest),
        *(cup_stock.CupTub(tub.number, purpose, number, rest, day) for day, number in resting),
    )


def _taken_on(told: str) -> date:
    """Return the keeper's day on which cups were taken; a row of an older book holds the day itself."""
    at = datetime.fromisoformat(told)
    return timezone.localdate(at) if timezone.is_aware(at) else at.date()


def as_read(tub: Culture, row: Belief, line: Line, on: date, promised: int = 0) -> Read:
    """Return a stored belief as it reads on a day, at the line's confidence; `promised` are those that name the tub."""
    held, ageing, as_sold = stored_belief(row), ageing_of(line), surplus.Tub(tub.number, purpose_on(tub, on))
    there = surplus.tub_stage(as_sold, held, row.stage, on, float(line.confidence), ageing, promised)
    return Read(tub, row, aged(held, on, ageing, row.stage), there)


def stored_belief(row: Belief) -> belief.StockBelief:
    """Return the census room's belief that a row holds, in the keeper's days."""
    return in_local_days(from_json(row.used["belief"]))


def _growing_up(stage: str, line: Line, read: list[Read]) -> tuple[str, ...]:
    """Return whose young have grown up since they were counted, and that usual figures say so."""
    if stage != Stage.YOUNG:
        return ()
    grown = [
        f"The young last counted in tub {one.tub.number} are grown by now. Count it again."
        for one in read
        if one.is_outgrown
    ]
    return (*grown, *young_ageing.ask_for_figures(line.species))


def _promised_from(tub: Culture, promises: list[Promise]) -> int:
    return sum(promise.number for promise in promises if promise.culture_id == tub.pk)


def _tub_stock(one: Read, free: surplus.Free | None, whole: surplus.Free, on: date, sellable: bool) -> TubStock:
    spare = surplus.most_promised(whole, free) if free is not None and sellable else 0
    return TubStock(
        culture_id=one.tub.pk,
        number=one.tub.number,
        purpose=purpose_on(one.tub, on),
        lower=one.lower,
        likely=one.likely,
        moved=one.row.moved,
        free=spare,
        counted_on=_day(one.row),
        is_stale=one.is_stale,
        males=one.sexes.males,
        females=one.sexes.females,
        is_outgrown=one.is_outgrown,
        free_alone=free.number if free is not None and sellable else 0,
        gives=free is not None and purpose_on(one.tub, on) in surplus.GIVES_SURPLUS and not one.is_stale,
    )


def purpose_on(tub: Culture, on: date) -> str:
    """Return what a tub is for on a day: until its quarantine ends it is in quarantine, whatever else it is for."""
    if tub.quarantine_until and tub.quarantine_until > on:
        return Culture.Purpose.QUARANTINE.value
    return tub.purpose


def _harvest_share(line: Line, stage: str) -> float | None:
    """The harvest share is about young; what adults may go is decided by the adults that must stay."""
    if stage != Stage.YOUNG or line.harvest_share is None:
        return None
    return float(line.harvest_share)


def _sum_known(tubs: list[Read], sex: str) -> int | None:
    known = [value for one in tubs if not one.is_stale and (value := getattr(one.sexes, sex)) is not None]
    return sum(known) if known else None


def _day(row: Belief) -> date | None:
    return timezone.localdate(row.counted_at) if row.counted_at else None


def _kept_out(tub: Culture) -> str:
    return f"Tub {tub.number} is not for sale: {tub.not_for_sale.rstrip('.')}."
