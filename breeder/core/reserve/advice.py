"""Advice on a line in sentences: its effective size, its sexes, its tubs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from breeder.core.counting.plurals import is_or_are, number_text

from . import rotational_mating
from .breeding_minimum import TWO_SEXES, Minimum, size_of_minimum
from .defaults import EFFECTIVE_SHARE, HORIZON_YEARS, SURE
from .effective_size import (
    chance_of_size,
    effective_size,
    inbreeding_per_generation,
    inbreeding_per_year,
    partners_needed,
)

SAFE_TUBS = 2  # for what cannot be bought again; common practice, no source
HALVINGS = 40  # of the search interval; far finer than a tenth of an animal


@dataclass(frozen=True)
class KnownBreeders:
    """The animals of a line that are surely there: adults, and males and females among them if they were counted.

    `tubs` are the breeding tubs whose adults are known well enough to plan which tub gives males to which.
    """

    adults: int
    males: int | None
    females: int | None
    reproduction: str = TWO_SEXES
    share_female: float = 0.5
    shown_by: str = "both"
    generation_days: float | None = None
    effective_share: float = EFFECTIVE_SHARE
    years: float = HORIZON_YEARS
    tubs: tuple[rotational_mating.TubBreeders, ...] = ()


def size_sure_unsexed(animals: int, share_male: float, sure: float = SURE) -> float:
    """Return the effective size that `animals` of unknown sex reach with chance `sure`; 0 when no size is that sure.

    The males are binomial with share `share_male`. The chance falls as the size rises, so the search bisects.
    """
    low, high = 0.0, float(animals)
    if chance_of_size(animals, 1e-6, share_male) < sure:
        return 0.0
    for _ in range(HALVINGS):
        half = (low + high) / 2
        low, high = (half, high) if chance_of_size(animals, half, share_male) >= sure else (low, half)
    return low


def outlook_text(kept: KnownBreeders, minimum: Minimum) -> tuple[str, ...]:
    """Return sentences on what the numbers of a line mean; topics that cannot be judged are left out."""
    return (*_advised(kept, minimum), *_sexes(kept, minimum), *_plain_sex(kept, minimum), *_circle(kept))


def too_few_tubs_text(breeding_tubs: int, *, irreplaceable: bool) -> str:
    """Return a warning for a line that cannot be bought again and is in fewer than two tubs; else empty text."""
    if breeding_tubs >= SAFE_TUBS or not irreplaceable:
        return ""
    if not breeding_tubs:
        return "It cannot be bought again and has no breeding tub. Start one."
    return "It cannot be bought again and all of it breeds in one tub. Split it: one crash would end it."


def _advised(kept: KnownBreeders, minimum: Minimum) -> list[str]:
    if minimum.advised is None:
        return []
    if kept.adults >= minimum.advised:
        return [f"{number_text(kept.adults, 'adults')} {is_or_are(kept.adults)} sure, as many as that or more."]
    sure = f"{number_text(kept.adults, 'adults')} {is_or_are(kept.adults)} sure"
    return [f"{sure}, {minimum.advised - kept.adults} fewer than that."]


def _sexes(kept: KnownBreeders, minimum: Minimum) -> list[str]:
    if kept.reproduction != TWO_SEXES or not kept.adults:
        return []
    share = f"if {kept.effective_share:.0%} of them count"
    if kept.males is None or kept.females is None:
        size = size_sure_unsexed(kept.adults, 1 - kept.share_female) * kept.effective_share
        return [
            f"The sexes were never counted. Of {number_text(kept.adults, 'adults')} an effective size of {size:.1f} is "
            f"{SURE:.0%} sure, {share}."
        ]
    known = f"{number_text(kept.males, 'males')} and {number_text(kept.females, 'females')} are known to be there"
    raw = effective_size(kept.males, kept.females)
    rate = inbreeding_per_generation(raw * kept.effective_share)
    if rate is None:
        missing = "males" if not kept.males else "females"
        return [f"{known}, so no effective size is sure. Look for {missing} at the next count."]
    year = inbreeding_per_year(raw * kept.effective_share, kept.generation_days) if kept.generation_days else None
    yearly = f", {year:.1%} a year" if year is not None else ""
    return [
        f"{known}: an effective size of {raw:.1f} if all breed, {raw * kept.effective_share:.1f} {share}. "
        f"Inbreeding then rises by {rate:.1%} a generation{yearly}.",
        *_skew(kept, minimum),
    ]


def _skew(kept: KnownBreeders, minimum: Minimum) -> list[str]:
    """Return what the rarer sex allows, if that sex limits the effective size."""
    males, females = kept.males or 0, kept.females or 0
    size = None if minimum.size_needed is None else minimum.size_needed / kept.effective_share
    if size is None or effective_size(males, females) >= size:
        return []
    name, other = ("males", "females") if males <= females else ("females", "males")
    rarer, common = min(males, females), max(males, females)
    partners = partners_needed(rarer, size)
    if partners is None:
        least = math.floor(size / 4) + 1
        return [
            f"With {number_text(rarer, name)} no number of {other} reaches the size advised: that takes {least} "
            f"{name} or more."
        ]
    if partners <= common:
        return []
    known = f"{common} {is_or_are(common)} known"
    return [
        f"With {number_text(rarer, name)} it takes {number_text(partners, other)} to reach the size advised; {known}."
    ]


def _plain_sex(kept: KnownBreeders, minimum: Minimum) -> list[str]:
    """Return that the sex which never shows the form is kept by origin."""
    if kept.shown_by not in ("females", "males") or kept.reproduction != TWO_SEXES:
        return []
    plain = "males" if kept.shown_by == "females" else "females"
    sentence = (
        f"Only {kept.shown_by} show the form. Its {plain} look plain and carry it: they stay by the tub they come from."
    )
    showing = kept.females if kept.shown_by == "females" else kept.males
    size = size_of_minimum(minimum.number, kept.share_female)
    needed = partners_needed(showing, size) if showing else None
    if needed is not None:
        sentence += (
            f" {needed} {plain} of its own go with {showing} {kept.shown_by} for an effective size of {size:.0f}."
        )
    return [sentence, f"A share that shows the form is a share of the grown {kept.shown_by}, never of all."]


def _circle(kept: KnownBreeders) -> tuple[str, ...]:
    if kept.reproduction != TWO_SEXES:
        return ()
    return rotational_mating.rotation_text(
        kept.tubs,
        years=kept.years,
        generation_days=kept.generation_days,
        effective_share=kept.effective_share,
    )
