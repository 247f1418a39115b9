"""Males that go round a circle of tubs: how it slows inbreeding in a line that is kept in several tubs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .defaults import CIRCLE_GENERATIONS, DAYS_PER_YEAR

LEAST_TUBS = 2  # with one tub there is no other to get males from


@dataclass(frozen=True)
class TubBreeders:
    """A breeding tub by its number, with the males and females that breed in it; parts of animals are allowed."""

    tub: int
    males: float
    females: float


def round_the_circle(tubs: int) -> list[int]:
    """Return for each place in the circle the place that its males come from: the one before, always the same."""
    return [(place - 1) % tubs for place in range(tubs)]


def inbreeding_of_tubs(tubs: Sequence[TubBreeders], sires_from: Sequence[int], generations: int) -> list[float]:
    """Return the mean inbreeding of the tubs in each generation, from unrelated founders.

    The females of a tub breed with the males of the tub at place `sires_from` (its own place: no exchange). Assumes
    random mating inside each tub, founders that are all unrelated, and the same numbers in every generation. With F the
    inbreeding of a tub and θ the kinship of two different animals, F' = θ(sire, dam), and kinship within a tub adds
    [(1 + F)/2 − θ]/m for the m males (and so for the females) that may be parents of both. Raises ValueError when a tub
    lacks a sex. Source: Windig, Verweij & Oldenbroek 2018 (breeding circles); kinship recursion as Falconer & Mackay
    1996, ch. 4 (from memory).
    """
    males, females = np.array([tub.males for tub in tubs]), np.array([tub.females for tub in tubs])
    if not len(tubs) or min(*males, *females) <= 0:
        raise ValueError("Each tub of a circle needs males and females. Leave out the tubs that lack a sex.")
    sires, dams = np.array(sires_from), np.arange(len(tubs))
    inbred, kin, found = np.zeros(len(tubs)), np.zeros((len(tubs), len(tubs))), []
    for _ in range(generations):
        same = (1 + inbred) / 2 - np.diag(kin)
        across = kin[np.ix_(sires, dams)]
        born = (kin[np.ix_(sires, sires)] + across + across.T + kin) / 4
        born[dams, dams] += (same[sires] / males[sires] + same / females) / 4
        inbred, kin = kin[sires, dams], born
        found.append(float(inbred.mean()))
    return found


def advice(
    tubs: Sequence[TubBreeders],
    *,
    years: float,
    generation_days: float | None,
    effective_share: float,
) -> tuple[str, ...]:
    """Return which tub gives its males to which, and what that is worth; nothing where fewer than two could take part.

    `effective_share` of the animals count as breeders. Without a generation time (days) it is told for ten generations.
    """
    able = sorted((tub for tub in tubs if tub.males > 0 and tub.females > 0), key=lambda tub: tub.tub)
    if len(able) < LEAST_TUBS:
        return ()
    counted = [_as_they_count(one, effective_share) for one in able]
    span, generations = _span(years, generation_days)
    apart = inbreeding_of_tubs(counted, range(len(able)), generations)[-1]
    circle = inbreeding_of_tubs(counted, round_the_circle(len(able)), generations)[-1]
    way = " → ".join(str(one.tub) for one in [*able, able[0]])
    return (
        f"Let males go round the breeding tubs, once a generation and always the same way: {way}. The "
        "females of each tub then breed with males of the one before.",
        f"After {span} inbreeding is then about {circle:.1%} instead of {apart:.1%} with every tub for itself, if "
        f"{effective_share:.0%} of the animals count and the tubs began unrelated.",
        "Move males before the females of the new tub have mated: sperm is kept for months. What a tub carries, mites "
        "or mould, goes round with them.",
    )


def _as_they_count(tub: TubBreeders, share: float) -> TubBreeders:
    """Return the share of a tub's animals that breeds: of each sex one at least, or there were no young."""
    return TubBreeders(tub.tub, max(1.0, tub.males * share), max(1.0, tub.females * share))


def _span(years: float, generation_days: float | None) -> tuple[str, int]:
    """Return in words and in whole generations how far ahead is looked."""
    if not generation_days:
        return f"{CIRCLE_GENERATIONS} generations", CIRCLE_GENERATIONS
    generations = max(1, round(years * DAYS_PER_YEAR / generation_days))
    plural = "" if generations == 1 else "s"
    return f"{years:g} years ({generations} generation{plural})", generations
