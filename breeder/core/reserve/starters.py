"""Starters: the chance that they include both sexes, and the size that makes such a promise safe."""

from __future__ import annotations

import math

import scipy

from .defaults import SURE

MOST_STARTERS = 100_000  # animals; no starter is larger


def chance_of_both_sexes(animals: int, share_female: float, survival: float = 1.0) -> float:
    """Return the chance that `animals` of unknown sex, each living with chance `survival`, include both sexes.

    1 − (1 − v·s)ᵏ − (1 − v·(1 − s))ᵏ + (1 − v)ᵏ, with k animals, survival v and share of females s. A female that has
    already mated can found a tub alone, so this is about what is promised, not about what may breed.
    """
    k, v, s = animals, survival, share_female
    return max(0.0, 1 - (1 - v * s) ** k - (1 - v * (1 - s)) ** k + (1 - v) ** k)


def chance_of_both_sexes_from_tub(females: int, males: int, drawn: int) -> float:
    """Return the exact chance that `drawn` animals, taken from a tub without looking, include both sexes."""
    held = females + males
    return 1 - (math.comb(females, drawn) + math.comb(males, drawn)) / math.comb(held, drawn)


def starter_needed(share_female: float, sure: float = SURE, survival: float = 1.0) -> int:
    """Return the fewest animals that include both sexes with chance `sure`. Raises ValueError for a single sex."""
    if not 0 < share_female < 1:
        raise ValueError(f"The share of females is {share_female:g}, so one sex is missing and no number gives both.")
    least = next((k for k in range(2, MOST_STARTERS) if chance_of_both_sexes(k, share_female, survival) >= sure), None)
    if least is None:
        raise ValueError("No starter is large enough for that. Ask for less certainty.")
    return least


def chance_of_each(animals: int, females: int, males: int, share_female: float) -> float:
    """Return the chance that `animals` of unknown sex include at least `females` females and `males` males."""
    if animals < females + males:
        return 0.0
    below = scipy.special.bdtr(females - 1, animals, share_female) if females else 0.0
    return float(scipy.special.bdtr(animals - males, animals, share_female) - below)


def animals_needed_for_each(females: int, males: int, share_female: float, sure: float = SURE) -> int:
    """Return the fewest animals of unknown sex that include `females` and `males` with chance `sure`.

    Raises ValueError when no number does.
    """
    least = max(1, females + males)
    enough = (n for n in range(least, MOST_STARTERS) if chance_of_each(n, females, males, share_female) >= sure)
    needed = next(enough, None)
    if needed is None:
        raise ValueError("No number of animals is large enough for that. Sex them instead.")
    return needed


def chance_enough_alive(packed: int, wanted: int, survival: float) -> float:
    """Return the chance that at least `wanted` of `packed` live, each independently with chance `survival`.

    Real deaths in a parcel come together, so this is optimistic.
    """
    return float(scipy.special.bdtrc(wanted - 1, packed, survival)) if wanted > 0 else 1.0
