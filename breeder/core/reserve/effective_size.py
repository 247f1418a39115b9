"""Effective size: the breeders that a number of animals is worth, and the animals that a wanted size takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import scipy

from .defaults import DAYS_PER_YEAR, SURE
from .rounding import whole_above

SLACK = 1e-9  # relative; a size that misses the target only by binary rounding meets it
REMEMBERED = 4096  # results; a book of a thousand lines asks for the same few on every page
RIPPLE = 64  # numbers to look back over for the smallest that is sure enough, as odd and even ones alternate a little


def effective_size(males: float, females: float) -> float:
    """Return 4·Nm·Nf / (Nm + Nf); 0 when a sex is missing. Assumes random mating. Source: Wright 1931."""
    return 4 * males * females / (males + females) if males > 0 and females > 0 else 0.0


def effective_size_of_families(animals: float, variance: float) -> float:
    """Return (4N − 2) / (Vk + 2) for `animals` parents whose offspring numbers vary by `variance`.

    A variance of 2 is pure chance; equal families double the size. Source: Crow & Kimura 1970, ch. 7 (from memory).
    """
    return max(0.0, (4 * animals - 2) / (variance + 2))


def effective_size_one_sex_haploid(haploid: float, diploid: float) -> float:
    """Return 9·Nh·Nd / (4·Nh + 2·Nd), for haplodiploid lines or for genes on a chromosome that one sex has once.

    Source: Wright 1933, Proc. Natl Acad. Sci. 19:411.
    """
    return 9 * haploid * diploid / (4 * haploid + 2 * diploid) if haploid > 0 and diploid > 0 else 0.0


def effective_size_selfing(animals: float, selfing_share: float) -> float:
    """Return N / (1 + F), F = S / (2 − S), for hermaphrodites that self-fertilize a share S of their eggs."""
    return animals / (1 + selfing_share / (2 - selfing_share))


def effective_size_over_time(sizes: Sequence[float]) -> float:
    """Return the harmonic mean of the effective sizes of generations; 0 if one of them is 0. Source: Wright 1938."""
    if not sizes or min(sizes) <= 0:
        return 0.0
    return len(sizes) / math.fsum(1 / size for size in sizes)


def inbreeding_per_generation(size: float) -> float | None:
    """Return 1 / (2·Ne), the rise of inbreeding in a generation; None without an effective size."""
    return 1 / (2 * size) if size > 0 else None


def inbreeding_per_year(size: float, generation_days: float) -> float | None:
    """Return the rise of inbreeding in a year of 365.25 days; None without an effective size."""
    rate = inbreeding_per_generation(size)
    return None if rate is None else rate * DAYS_PER_YEAR / generation_days


def inbreeding_after(size: float, generations: float) -> float:
    """Return 1 − (1 − 1/(2·Ne))ᵗ, the inbreeding after `generations` that start from none."""
    return float(1 - (1 - 1 / (2 * size)) ** generations)


def inbreeding_two_sexes(size: float, generations: int) -> list[float]:
    """Return inbreeding in each generation by the exact two-sex recursion, starting from unrelated founders.

    F' = θ; θ' = θ + [(1 + F)/2 − θ]/Ne, with F the inbreeding and θ the kinship of two different animals. Source:
    Falconer & Mackay 1996, ch. 4 (from memory).
    """
    inbred, kinship, by_generation = 0.0, 0.0, []
    for _ in range(generations):
        inbred, kinship = kinship, kinship + ((1 + inbred) / 2 - kinship) / size
        by_generation.append(inbred)
    return by_generation


def generations_until(limit: float, size: float) -> float:
    """Return the generations that a line of effective `size` takes to reach an inbreeding `limit`."""
    return math.log1p(-limit) / math.log1p(-1 / (2 * size))


def effective_size_needed(limit: float, years: float, generation_days: float) -> float:
    """Return the effective size that keeps inbreeding at `limit` for `years`, not rounded.

    1 / {2·[1 − (1 − F*)^(L/H)]}, with generation time L in days and horizon H in years of 365.25 days.
    """
    generations = years * DAYS_PER_YEAR / generation_days
    return 1 / (2 * -math.expm1(math.log1p(-limit) / generations))


def partners_needed(of_one_sex: int, size: float) -> int | None:
    """Return how many of the other sex give an effective `size` with `of_one_sex`; None when no number does."""
    spare = 4 * of_one_sex - size
    return max(1, whole_above(size * of_one_sex / spare)) if spare > SLACK * size else None


def animals_needed_sexed(size: float, share_male: float) -> int:
    """Return ⌈Ne / (4·s·(1 − s))⌉, the adults that give an effective `size` when a share s is male."""
    return whole_above(size / (4 * share_male * (1 - share_male)))


@lru_cache(maxsize=REMEMBERED)
def animals_needed_unsexed(size: float, share_male: float, sure: float = SURE) -> int:
    """Return the fewest adults, taken without looking at the sex, that reach an effective `size` with chance `sure`.

    The males are binomial with share `share_male`. The chance rises with the number except for a ripple between odd and
    even numbers, so the search doubles, bisects and then looks back.
    """
    least = max(2, whole_above(size))
    low, high = least, least
    while chance_of_size(high, size, share_male) < sure:
        low, high = high, 2 * high
    while low < high:
        half = (low + high) // 2
        if chance_of_size(half, size, share_male) >= sure:
            high = half
        else:
            low = half + 1
    earlier = range(max(least, high - RIPPLE), high)
    return next((n for n in earlier if chance_of_size(n, size, share_male) >= sure), high)


def chance_of_size(animals: int, size: float, share_male: float) -> float:
    """Return the chance that `animals` of unknown sex have at least an effective `size`.

    4·m·(N − m)/N ≥ Ne between the two roots of a parabola in the males m.
    """
    within = animals**2 / 4 - animals * size * (1 - SLACK) / 4
    if within < 0:
        return 0.0
    fewest = whole_above(animals / 2 - math.sqrt(within))
    most = animals - fewest
    if most < fewest:
        return 0.0
    reached = scipy.special.bdtr(most, animals, share_male)
    return float(reached - scipy.special.bdtr(fewest - 1, animals, share_male)) if fewest > 0 else float(reached)
