"""What a line and a tub can spare, to the animal, and in words why."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from breeder.core.counting.plurals import many

from .defaults import COUNTS_AS_BREEDERS, GIVES_SURPLUS
from .rounding import whole_below


@dataclass(frozen=True)
class TubStage:
    """One tub and stage as the stock book reads it on a day, all in animals.

    `lower` is the safe bound; `promised` what promises that name this tub hold; `at_count` the bound that the last
    count gave and `added` what was added (or died, or moved out) since, `taken` what was taken for people since.
    """

    tub: int
    purpose: str
    lower: int
    stale: bool = False
    promised: int = 0
    at_count: int = 0
    added: int = 0
    taken: int = 0

    @property
    def counts(self) -> bool:
        """Whether anything may be sold on the strength of this tub."""
        return self.purpose in GIVES_SURPLUS and not self.stale

    @property
    def breeds(self) -> bool:
        """Whether its adults are breeders of the line."""
        return self.purpose in COUNTS_AS_BREEDERS


@dataclass(frozen=True)
class StageStock:
    """One stage of a line: its tubs, the number kept back, everything promised, handling loss and harvest as shares.

    `promised` holds all promises of the stage, those that name a tub included. `harvest_share` None: no limit.
    """

    stage: str
    tubs: tuple[TubStage, ...]
    kept_back: int
    promised: int
    handling_loss: float = 0.0
    harvest_share: float | None = None

    @property
    def lower(self) -> int:
        """The sum of bounds of the tubs that may be sold from; a sum, since one eye errs the same way everywhere."""
        return sum(tub.lower for tub in self.tubs if tub.counts)

    @property
    def breeders(self) -> int:
        """The part of it that is in breeding tubs."""
        return sum(tub.lower for tub in self.tubs if tub.counts and tub.breeds)

    @property
    def breeding_tubs(self) -> int:
        """How many tubs share the number kept back."""
        return sum(1 for tub in self.tubs if tub.breeds)


@dataclass(frozen=True)
class Free:
    """What may be promised: `number` free, `short` promised without cover, and the figures it was worked out from."""

    number: int
    short: int
    lower: int
    kept_back: int
    promised: int
    why: tuple[str, ...] = ()


def line_free(
    lower_sum: int, kept_back: int, promised: int, handling_loss: float = 0.0, *, harvest: int | None = None
) -> Free:
    """Return ⌊(Σ lower − kept back − promised) · (1 − handling loss)⌋, at least 0.

    `harvest` is how many may be taken before the next count, promises not yet taken off; None when there is no such
    limit. `short` is what is promised beyond what is there above the number kept back: max(0, promised − max(0, lower −
    kept back)); animals that are there but not yet to be harvested are not short. Promising n and then packing n leaves
    the number as it was, since packing takes n off `lower_sum` (and off `harvest`) and off `promised`.
    """
    spare = lower_sum - kept_back - promised
    number = max(0, whole_below(spare * (1 - handling_loss)))
    short = max(0, promised - max(0, lower_sum - kept_back))
    why = [f"{lower_sum} at least, {kept_back} kept back, {promised} promised: {max(0, spare)} to spare."]
    if handling_loss and spare > 0:
        why.append(f"Less {handling_loss:.0%} that handling costs: {number}.")
    if harvest is not None and harvest - promised < number:
        number = max(0, harvest - promised)
        why.append(f"Until the next count {max(0, harvest)} may be taken, {promised} of them promised: {number}.")
    if short:
        why.append(f"Short by {short}: promised, but not there above the number kept back. No new promise until then.")
    return Free(number, short, lower_sum, kept_back, promised, tuple(why))


def tub_free(
    lower: int,
    kept_back: int,
    breeding_tubs: int,
    promised: int,
    handling_loss: float = 0.0,
    *,
    is_breeding: bool = True,
    harvest: int | None = None,
) -> Free:
    """Return the same for one tub, the line's `kept_back` shared equally over its breeding tubs and rounded up.

    A tub that is not a breeding tub keeps nothing back by itself; the line does.
    """
    return line_free(lower, share_kept(kept_back, breeding_tubs, is_breeding), promised, handling_loss, harvest=harvest)


def share_kept(kept_back: int, breeding_tubs: int, is_breeding: bool) -> int:
    """Return what one tub keeps of the line's number: an equal share, rounded up, in breeding tubs only."""
    return -(-kept_back // breeding_tubs) if is_breeding and breeding_tubs else 0


def most_promised(line: Free, tub: Free | None = None) -> int:
    """Return the most that a promise may take: the line's number, or with a tub named the smaller of both."""
    return line.number if tub is None else min(line.number, tub.number)


def harvest_left(tubs: Iterable[TubStage], share: float) -> int:
    """Return how many may be taken before the next count, promises not taken off.

    The sum over tubs of ⌊share · (bound at the last count + added since)⌋ − taken since. A tub that gave more than its
    share counts against the others, so packing what was promised never frees anything.
    """
    return sum(whole_below(share * max(0, tub.at_count + tub.added)) - tub.taken for tub in tubs if tub.counts)


def stage_free(stock: StageStock) -> tuple[Free, dict[int, Free]]:
    """Return what a stage of a line can spare, and the same for each tub that gives surplus."""
    share = stock.harvest_share
    line = line_free(
        stock.lower,
        stock.kept_back,
        stock.promised,
        stock.handling_loss,
        harvest=None if share is None else harvest_left(stock.tubs, share),
    )
    tubs = {tub.tub: _one_tub(stock, tub) for tub in stock.tubs}
    return replace(line, why=(*line.why, *_cautions(stock))), tubs


def _one_tub(stock: StageStock, tub: TubStage) -> Free:
    if not tub.counts:
        return Free(0, tub.promised, 0, 0, tub.promised, (_why_not(tub),))
    share = stock.harvest_share
    return tub_free(
        tub.lower,
        stock.kept_back,
        stock.breeding_tubs,
        tub.promised,
        stock.handling_loss,
        is_breeding=tub.breeds,
        harvest=None if share is None else harvest_left([tub], share),
    )


def _why_not(tub: TubStage) -> str:
    if tub.purpose not in GIVES_SURPLUS:
        article = "an" if tub.purpose[0] in "aeiou" else "a"
        return f"Tub {tub.tub} is {article} {tub.purpose} tub, so nothing is sold from it."
    return f"The last count of tub {tub.tub} is too old to sell on. Count it first."


def _cautions(stock: StageStock) -> tuple[str, ...]:
    cautions = [_why_not(tub) for tub in stock.tubs if not tub.counts and tub.lower]
    if stock.stage == "adults" and stock.breeders < stock.kept_back:
        cautions.append(
            f"Below the minimum: {many(stock.breeders, 'breeders')} at least in breeding tubs, and {stock.kept_back} "
            "must stay."
        )
    return tuple(cautions)
