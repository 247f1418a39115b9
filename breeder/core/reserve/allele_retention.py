"""Rare alleles and variety that a small number of breeders keeps or loses."""

from __future__ import annotations

import math
from collections.abc import Sequence

from .rounding import whole_above


def chance_allele_lost(frequency: float, animals: int) -> float:
    """Return (1 − p)^(2n), the chance that n diploid breeders carry no copy of an allele of frequency p."""
    return (1 - frequency) ** (2 * animals)


def animals_needed_for_allele(frequency: float, confidence: float) -> int:
    """Return the fewest diploid breeders that keep an allele of `frequency` with chance `confidence`.

    Source: Marshall & Brown 1975 (59 gametes for 5 % at 95 %; from memory).
    """
    return max(1, whole_above(math.log1p(-confidence) / (2 * math.log1p(-frequency))))


def variety_kept(founders: int) -> float:
    """Return 1 − 1/(2n), the share of heterozygosity that n founders carry on."""
    return 1 - 1 / (2 * founders)


def chance_copy_kept(offspring: int) -> float:
    """Return 1 − ½ᵏ, the chance that at least one of k offspring inherits the single copy of a carrier."""
    return 1 - 0.5**offspring


def founder_equivalents(contributions: Sequence[float]) -> float:
    """Return 1/Σp², the number of equal founders that are worth as much as these shares. Source: Lacy 1989."""
    total = math.fsum(contributions)
    return 1 / math.fsum((share / total) ** 2 for share in contributions)


def drift_apart(migrants: float, tubs: int | None = None) -> float:
    """Return FST = 1/(4M + 1), how far tubs that exchange M `migrants` a generation drift apart.

    For a small number n of `tubs` it is 1/(4M·(n + 1)/(n − 1) + 1). Source: Wright 1931; few tubs: S. Afr. J. Anim.
    Sci.
    """
    few = 1.0 if tubs is None else (tubs + 1) / (tubs - 1)
    return 1 / (4 * migrants * few + 1)


def plateau_of_inbreeding(size: float, migrant_share: float) -> float:
    """Return 1/(4·Ne·m + 1), the level that inbreeding settles at when a share m of the parents is unrelated.

    m is the number of unrelated parents in a generation divided by twice the sires (only males are brought in). Source:
    Wright 1931, island model.
    """
    return 1 / (4 * size * migrant_share + 1)


def fitness_kept(inbreeding: float, load: float) -> float:
    """Return e^(−B·F), the fitness left at inbreeding F; B is half the lethal equivalents of a diploid.

    Source: Morton, Crow & Muller 1956, Proc. Natl Acad. Sci. 42:855 (from memory). No B has been measured for isopods.
    """
    return math.exp(-load * inbreeding)
