"""The surplus of a line and of a tub, exact to the animal, with the reasons in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from breeder.core.counting.defaults import DAYS_PER_MONTH
from breeder.core.counting.plurals import number_text
from breeder.core.stock import belief
from breeder.core.stock.belief import StockBelief, is_stale
from breeder.core.stock.events import YOUNG, Ageing

from .defaults import COUNTS_AS_BREEDERS, GIVES_SURPLUS, SOON_GROWN_MONTHS
from .rounding import whole_below


@dataclass(frozen=True)
class Tub:
    """A tub of the line, by its number, and what it is for."""

    tub: int
    purpose: str


@dataclass(frozen=True)
class TubStage:
    """One tub and stage in the stock book on a day, all in animals.

    `lower` is the safe bound; `promised` is what the promises that name this tub add up to. Since the last count
    `taken` animals were taken for people and `added` were put in (less deaths and moves out); `at_count` is the likely
    number right after that count. These three need not be whole, because a split tub passes them on by share.
    """

    tub: int
    purpose: str
    lower: int
    stale: bool = False
    promised: int = 0
    at_count: float = 0.0
    added: float = 0.0
    taken: float = 0.0

    @property
    def counts(self) -> bool:
        """Whether animals may be sold from this tub."""
        return self.purpose in GIVES_SURPLUS and not self.stale

    @property
    def breeds(self) -> bool:
        """Whether its adults are breeders of the line."""
        return self.purpose in COUNTS_AS_BREEDERS


def tub_stage(
    tub: Tub, known: StockBelief | None, stage: str, on: date, confidence: float, ageing: Ageing, promised: int
) -> TubStage:
    """Return a tub's figures on a day at a one-sided `confidence`; `known` is None when nothing is known of it."""
    if known is None:
        return TubStage(tub.tub, tub.purpose, 0, promised=promised)
    return TubStage(
        tub.tub,
        tub.purpose,
        belief.lower(known, on, confidence, ageing, stage),
        is_stale(known, on, ageing),
        promised,
        known.at_count,
        known.added,
        known.taken,
    )


@dataclass(frozen=True)
class StageHoldings:
    """One stage of a line: its tubs, the number kept back, everything promised, handling loss and harvest as shares.

    `promised` is all promises of the stage, including those that name a tub. `harvest_share` None means no limit.
    """

    stage: str
    tubs: tuple[TubStage, ...]
    kept_back: int
    promised: int
    handling_loss: float = 0.0
    harvest_share: float | None = None

    @property
    def lower(self) -> int:
        """The sum of bounds of the tubs that may be sold from; bounds add, as one eye errs the same way everywhere."""
        return sum(tub.lower for tub in self.tubs if tub.counts)

    @property
    def taken(self) -> float:
        """The animals taken from those tubs for people since their last counts."""
        return sum(tub.taken for tub in self.tubs if tub.counts)

    @property
    def breeders(self) -> int:
        """The part of `lower` that is in breeding tubs."""
        return sum(tub.lower for tub in self.tubs if tub.counts and tub.breeds)

    @property
    def breeding_tubs(self) -> int:
        """How many tubs share the number kept back."""
        return sum(1 for tub in self.tubs if tub.breeds)


@dataclass(frozen=True)
class Free:
    """The animals that may be promised: `number` free, `short` promised without cover, and the figures behind them.

    `spare` is what is above the number kept back, less handling loss. `harvest_left` is how many may go until the next
    count (None: no limit). Promises are not yet taken off these two.
    """

    number: int
    short: int
    lower: int
    kept_back: int
    promised: int
    why: tuple[str, ...] = ()
    spare: int = 0
    may_go: int | None = None


def spare_above(lower: int, kept_back: int, taken: float = 0.0, handling_loss: float = 0.0) -> int:
    """Return ⌊(lower + taken − kept back) · (1 − handling loss)⌋ − taken, never above lower − kept back.

    The loss comes off once for everything that goes between two counts, including what has already gone. So packing n
    animals lowers the result by exactly n, and asking again gives nothing extra. Negative when too few are there.
    """
    whole = whole_below((lower + taken - kept_back) * (1 - handling_loss) - taken)
    return min(whole, lower - kept_back)


def line_free(
    lower: int,
    kept_back: int,
    promised: int,
    handling_loss: float = 0.0,
    *,
    taken: float = 0.0,
    may_go: int | None = None,
) -> Free:
    """Return min(spare, may go) − promised, at least 0.

    `lower` is the sum of bounds, `taken` the animals that left those tubs for people since their last counts. `short`
    is the number promised beyond what is there above the number kept back; animals that are there but may not go yet
    are not short. Promising n and then packing n gives the same number, because packing takes n off `lower` and off
    `promised` and adds n to `taken`.
    """
    spare = spare_above(lower, kept_back, taken, handling_loss)
    number = max(0, spare - promised)
    short = max(0, promised - max(0, lower - kept_back))
    there = lower - kept_back - promised
    why = [f"{lower} at least, {kept_back} kept back, {promised} promised: {max(0, there)} to spare."]
    if handling_loss and there > 0:
        why.append(f"Less {handling_loss:.0%} that handling costs, of all that goes between two counts: {number}.")
    if may_go is not None and may_go - promised < number:
        number = max(0, may_go - promised)
        why.append(f"Until the next count {max(0, may_go)} may be taken, {promised} of them promised: {number}.")
    if short:
        why.append(f"Short by {short}: promised, but not there above the number kept back. No new promise until then.")
    return Free(number, short, lower, kept_back, promised, tuple(why), spare, may_go)


def tub_free(
    lower: int,
    kept_back: int,
    breeding_tubs: int,
    promised: int,
    handling_loss: float = 0.0,
    *,
    is_breeding: bool = True,
    taken: float = 0.0,
    may_go: int | None = None,
) -> Free:
    """Return the same for one tub; the line's `kept_back` is divided among its breeding tubs and rounded up.

    A tub that is not a breeding tub keeps nothing back by itself; the line does.
    """
    kept = share_kept(kept_back, breeding_tubs, is_breeding)
    return line_free(lower, kept, promised, handling_loss, taken=taken, may_go=may_go)


def share_kept(kept_back: int, breeding_tubs: int, is_breeding: bool) -> int:
    """Return the number that one tub keeps back: an equal share of the line's, rounded up, in breeding tubs only."""
    return -(-kept_back // breeding_tubs) if is_breeding and breeding_tubs else 0


def most_promised(line: Free, tub: Free | None = None) -> int:
    """Return the most that a promise may take: the line's number, or the smaller of both when a tub is named."""
    return line.number if tub is None else min(line.number, tub.number)


def harvest_left(tubs: Iterable[TubStage], share: float | None) -> int | None:
    """Return how many may go until the next count, before promises; None when no `share` limits it.

    The sum over tubs of ⌊share · (likely at the last count + added since)⌋ − taken since. The share is taken of the
    likely animals, not of the bound, which is too low on purpose. A tub that gave more than its share counts against
    the others, so packing what was promised never frees anything.
    """
    if share is None:
        return None
    giving = [tub for tub in tubs if tub.counts]
    return whole_below(sum(whole_below(share * max(0.0, tub.at_count + tub.added)) - tub.taken for tub in giving))


def stage_free(stock: StageHoldings) -> tuple[Free, dict[int, Free]]:
    """Return what a stage of a line can spare, and the same for each tub."""
    line = line_free(
        stock.lower,
        stock.kept_back,
        stock.promised,
        stock.handling_loss,
        taken=stock.taken,
        may_go=harvest_left(stock.tubs, stock.harvest_share),
    )
    by_tub = {tub.tub: _tub_free(stock, tub) for tub in stock.tubs}
    return replace(line, why=(*line.why, *_cautions(stock))), by_tub


def _tub_free(stock: StageHoldings, tub: TubStage) -> Free:
    if not tub.counts:
        return Free(0, tub.promised, 0, 0, tub.promised, (_why_not(tub),))
    return tub_free(
        tub.lower,
        stock.kept_back,
        stock.breeding_tubs,
        tub.promised,
        stock.handling_loss,
        is_breeding=tub.breeds,
        taken=tub.taken,
        may_go=harvest_left([tub], stock.harvest_share),
    )


def _why_not(tub: TubStage) -> str:
    if tub.purpose not in GIVES_SURPLUS:
        article = "an" if tub.purpose[0] in "aeiou" else "a"
        return f"Tub {tub.tub} is {article} {tub.purpose} tub, so nothing is sold from it."
    return f"The last count of tub {tub.tub} is too old to sell on. Count it first."


def _cautions(stock: StageHoldings) -> tuple[str, ...]:
    cautions = [_why_not(tub) for tub in stock.tubs if not tub.counts and tub.lower]
    if stock.stage == "adults" and stock.breeders < stock.kept_back:
        cautions.append(
            f"Below the minimum: {number_text(stock.breeders, 'breeders')} at least in breeding tubs, and "
            f"{stock.kept_back} must stay."
        )
    return tuple(cautions)


def grown_up_text(stage: str, ageing: Ageing) -> tuple[str, ...]:
    """Return a sentence for young that grow up within a month, whose count is soon out of date; else empty."""
    mature = ageing.young_mature_months
    if stage != YOUNG or mature is None or mature > SOON_GROWN_MONTHS:
        return ()
    days = round(mature * DAYS_PER_MONTH)
    return (
        f"Its young are grown within {number_text(days, 'days')}, so a count of them holds for less than that. Count "
        "on the day you sell, or sell grown ones or whole cups.",
    )
