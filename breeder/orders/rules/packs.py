"""Packs that lines are sold in: what one takes out of its line, and how many could be promised now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from enum import StrEnum
from typing import Any

from breeder.core.reserve.defaults import SURE
from breeder.core.reserve.starters import chance_of_both_sexes, starter_needed
from breeder.cultures.line_stock import LineStock
from breeder.cultures.models import Stage
from breeder.cultures.phrases import animals
from breeder.cultures.rules import Want, shortages
from breeder.orders.models import Offer

# 10 to 20 % on top is usual; 15 % rounded up makes 12 out of 10 (common practice, no source).
OVERCOUNT_SHARE = Decimal("0.15")
ALL_BUT_SURE = 0.9995  # from here on a chance would be rounded to 100 %, which it is not
# More packs of one kind than this in one order is a slip of the finger.
MOST_PACKS = 999
# A pack of more animals than this is one too (bulk lots of feeders go to some hundreds: common practice, no source).
LARGEST_PACK = 2_000


@dataclass(frozen=True)
class Wanted:
    """Packs of one offer that somebody wants; price is the agreed price of one pack, where it is not the offer's."""

    offer_id: int
    packs: int
    price: Decimal | None = None
    culture_id: int | None = None


@dataclass(frozen=True)
class OfferFree:
    """One pack that a line is sold in, and how many of it could be promised now."""

    offer: Offer
    packs: int


class Availability(StrEnum):
    """What other people read instead of numbers."""

    AVAILABLE = "available"
    FEW = "few"
    NONE = "none"


def availability(free: OfferFree, few_below: int) -> Availability:
    """Return the word for how many packs could be promised; a frozen line offers none to anybody."""
    if free.packs <= 0 or free.offer.line.frozen_because:
        return Availability.NONE
    return Availability.FEW if free.packs < few_below else Availability.AVAILABLE


def usual_overcount(kind: str, number: int) -> int:
    """Return how many are put in on top: 15 % rounded up, at least 1; none for cups and sexed animals."""
    if kind in (Offer.Kind.CUP, Offer.Kind.SEXED):
        return 0
    return max(1, int((number * OVERCOUNT_SHARE).to_integral_value(ROUND_CEILING)))


def filled_pack(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what follows from a pack's kind and was left empty: stage, sexes, number, overcount."""
    kind = given["kind"]
    sexed = kind == Offer.Kind.SEXED
    males, females = ((given.get("males") or 0, given.get("females") or 0)) if sexed else (0, 0)
    followed = {Offer.Kind.SEXED: males + females, Offer.Kind.CUP: 1}.get(kind)
    number = given.get("number") or followed
    stage = {Offer.Kind.CUP: Stage.CUPS, Offer.Kind.STARTER: given.get("stage") or Stage.YOUNG}.get(kind, Stage.ADULTS)
    overcount = given.get("overcount")
    if overcount is None:
        overcount = usual_overcount(kind, number or 0)
    return {"number": number, "stage": stage, "males": males, "females": females, "overcount": overcount}


def faults_of_pack(given: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with a filled pack: field and sentence."""
    line, kind, number = given["line"], given["kind"], given["number"]
    found = []
    if (kind == Offer.Kind.CUP) != (line.sold_by == line.SoldBy.CUP):
        remedy = "Choose “cup of culture”" if kind != Offer.Kind.CUP else "Choose another kind of pack"
        found.append(("kind", f"{line} is sold {line.get_sold_by_display()}. {remedy}, or change the line."))
    if kind == Offer.Kind.SHOWING and line.shown_by != line.ShownBy.FEMALES:
        shown = line.get_shown_by_display()
        found.append(
            ("kind", f"The form of {line} is shown by {shown}, so there are no showing females to sell apart.")
        )
    if number is None:
        found.append(("number", "‘How many in the pack’ is empty. Write how many, such as 10."))
    elif kind == Offer.Kind.SEXED and number != given["males"] + given["females"]:
        sexes = f"{given['males']}.{given['females']}"
        found.append(
            ("number", f"{sexes} is not {number} in all. Leave this empty, or write males and females that add up.")
        )
    elif given["overcount"] > number:
        found.append(
            ("overcount", f"{given['overcount']} on top of {number} is more than the pack itself. Check both.")
        )
    return found


def sexes_of(offer: Offer, packs: int, animals: int) -> tuple[int, int]:
    """Return the males and females among `animals` that this many packs take.

    All of a pack of showing females are females, those on top too; what is put on top of sexed animals is unsexed.
    """
    if offer.kind == Offer.Kind.SHOWING:
        return 0, animals
    return packs * offer.males, packs * offer.females


def want_of(offer: Offer, packs: int, *, number: int | None = None, culture_id: int | None = None) -> Want:
    """Return what this many packs ask of the line, overcount included; `number` where another overcount was agreed."""
    number = packs * offer.held if number is None else number
    males, females = sexes_of(offer, packs, number)
    return Want(offer.line_id, offer.stage, number, males=males, females=females, culture_id=culture_id)


def packs_free(offer: Offer, stock: LineStock | None) -> int:
    """Return how many packs could be promised now, asking the same rule that would refuse them."""
    if stock is None or not stock.sellable:
        return 0
    fits, too_many = 0, stock.free(offer.stage) // offer.held + 1
    if offer.kind not in (Offer.Kind.SEXED, Offer.Kind.SHOWING):
        return too_many - 1
    while too_many - fits > 1:
        middle = (fits + too_many) // 2
        if shortages([want_of(offer, middle)], {stock.line_id: stock}):
            too_many = middle
        else:
            fits = middle
    return fits


def both_sexes_said(offer: Offer) -> str:
    """Return how likely a starter of unsexed animals holds both sexes; empty where that is not the question."""
    species = offer.line.species
    share = float(species.share_female)
    if offer.kind != Offer.Kind.STARTER or species.reproduction != species.Reproduction.TWO_SEXES or not 0 < share < 1:
        return ""
    chance = chance_of_both_sexes(offer.number, share)
    said = f"both sexes in {'over 99.9%' if chance > ALL_BUT_SURE else f'{chance:.1%}'} of them"
    return said if chance >= SURE else f"{said}; {starter_needed(share)} animals would make it {SURE:.0%}"


def leading(packs: Sequence[OfferFree]) -> OfferFree | None:
    """Return the pack that a list names first: the one with most to give, then the cheaper, then the smaller."""
    dear = Decimal("Infinity")
    return min(
        packs,
        key=lambda free: (-free.packs, dear if free.offer.price is None else free.offer.price, free.offer.number),
        default=None,
    )


def refuse_packs(offer: Offer, packs: int) -> str:
    """Return why this many packs of this offer are not taken into an order; nothing when they are."""
    if not 1 <= packs <= MOST_PACKS:
        return f"{packs} packs of {offer} is not a number to agree on. Write 1 to {MOST_PACKS}."
    if not offer.active:
        return f"The pack “{offer}” is no longer offered. Take another pack of this line, or offer it again."
    return ""


def told(numbers: Mapping[str, int]) -> str:
    """Return '12 young and 2 cups are', 'nothing is': the start of a sentence about what became free or is held."""
    parts = [animals(number, stage) for stage, number in numbers.items() if number]
    if not parts:
        return "nothing is"
    joined = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{joined} {'is' if sum(numbers.values()) == 1 else 'are'}"
