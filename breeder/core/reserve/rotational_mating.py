"""Rotational mating: males move around a circle of tubs, which slows inbreeding in a line kept in several tubs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .defaults import CIRCLE_GENERATIONS, DAYS_PER_YEAR

LEAST_TUBS = 2  # a single tub has no other tub to get males from


@dataclass(frozen=True)
class TubBreeders:
    """A breeding tub by its number, with the males and females that breed in it; fractions are allowed."""

    tub: int
    males: float
    females: float


def sires_from_previous_tub(tubs: int) -> list[int]:
    """Return, for each place in the circle, the place its males come from: always the place before."""
    return [(place - 1) % tubs for place in range(tubs)]


def inbreeding_of_tubs(tubs: Sequence[TubBreeders], sires_from: Sequence[int], generations: int) -> list[float]:
    """Return the mean inbreeding of the tubs in each generation, from unrelated founders.

    The females of a tub breed with the males of the tub at place `sires_from` (its own place: no exchange). Assumes
    random mating inside each tub, unrelated founders, and the same numbers in every generation. With F the inbreeding
    of a tub and θ the kinship of two different animals, F' = θ(sire, dam). Kinship within a tub also gains
    [(1 + F)/2 − θ]/m for its m males, which may be fathers of both, and the same for its females. Raises ValueError
    when a tub lacks a sex. Source: Windig, Verweij & Oldenbroek 2018 (breeding circles); kinship recursion as in
    Falconer & Mackay 1996, ch. 4 (from memory).
    """
    males, females = np.array([tub.males for tub in tubs]), np.array([tub.females for tub in tubs])
    if not len(tubs) or min(*males, *females) <= 0:
        raise ValueError("Each tub of a circle needs males and females. Leave out the tubs that lack a sex.")
    sires, dams = np.array(sires_from), np.arange(len(tubs))
    inbred, kin, by_generation = np.zeros(len(tubs)), np.zeros((len(tubs), len(tubs))), []
    for _ in range(generations):
        same = (1 + inbred) / 2 - np.diag(kin)
        across = kin[np.ix_(sires, dams)]
        born = (kin[np.ix_(sires, sires)] + across + across.T + kin) / 4
        born[dams, dams] += (same[sires] / males[sires] + same / females) / 4
        inbred, kin = kin[sires, dams], born
        by_generation.append(float(inbred.mean()))
    return by_generation


def rotation_text(
    tubs: Sequence[TubBreeders],
    *,
    years: float,
    generation_days: float | None,
    effective_share: float,
) -> tuple[str, ...]:
    """Return sentences on which tub gives males to which and what that gains; empty with fewer than two able tubs.

    `effective_share` of the animals count as breeders. Without a generation time (days) the outlook is ten generations.
    """
    able = sorted((tub for tub in tubs if tub.males > 0 and tub.females > 0), key=lambda tub: tub.tub)
    if len(able) < LEAST_TUBS:
        return ()
    breeders = [_effective_breeders(tub, effective_share) for tub in able]
    span, generations = _span(years, generation_days)
    separate = inbreeding_of_tubs(breeders, range(len(able)), generations)[-1]
    rotated = inbreeding_of_tubs(breeders, sires_from_previous_tub(len(able)), generations)[-1]
    circuit = " → ".join(str(tub.tub) for tub in [*able, able[0]])
    return (
        f"Move males around the breeding tubs, once a generation and always in the same direction: {circuit}. The "
        "females of each tub then breed with males from the tub before.",
        f"After {span} inbreeding is then about {rotated:.1%} instead of {separate:.1%} with every tub on its own, if "
        f"{effective_share:.0%} of the animals count and the tubs began unrelated.",
        "Move males before the females of the new tub have mated: sperm is kept for months. Mites or mold in a tub "
        "travel with them.",
    )


def _effective_breeders(tub: TubBreeders, share: float) -> TubBreeders:
    """Return the breeding share of a tub's animals: at least one of each sex, or there would be no young."""
    return TubBreeders(tub.tub, max(1.0, tub.males * share), max(1.0, tub.females * share))


def _span(years: float, generation_days: float | None) -> tuple[str, int]:
    """Return the time span of the outlook, in words and in whole generations."""
    if not generation_days:
        return f"{CIRCLE_GENERATIONS} generations", CIRCLE_GENERATIONS
    generations = max(1, round(years * DAYS_PER_YEAR / generation_days))
    year_word = "year" if years == 1 else "years"
    generation_word = "generation" if generations == 1 else "generations"
    return f"{years:g} {year_word} ({generations} {generation_word})", generations
