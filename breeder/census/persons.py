"""How far off one keeper is with one method, learnt from every full sort that follows a guess."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import fmean, stdev

from .defaults import KEEPER_DEFAULT, LEAST_SHARED_SD, PAIR_WITHIN_DAYS, PAIRS_NEEDED, SHARED_SD, STORED_CONFIDENCE
from .quantiles import STORED_Z, day_of, t_of

TRUTHS = ("full_sort", "removal")  # counts good enough to measure a guess against


@dataclass(frozen=True)
class Tried:
    """One count of one tub and stage: who counted how, what came out (animals), and its spread without shared error.

    `moved` is what was added or taken since the count before it, so that a sale is not mistaken for a bad eye.
    """

    at: date
    person: str
    method: str
    estimate: float
    own_sd: float = 0.0
    moved: int = 0


@dataclass(frozen=True)
class Pair:
    """A guess and the truth that followed it: ln(guess / truth), and the variance that is not the person's."""

    log_ratio: float
    own_variance: float


@dataclass(frozen=True)
class SharedError:
    """What to use for a person and method: divide estimates by exp(`bias`), and count `sd` as the shared error.

    `mark` says where it comes from: the keeper's default, or so many pairs.
    """

    bias: float
    sd: float
    pairs: int
    learnt: bool
    mark: str

    def corrected(self, estimate: float) -> float:
        """Return an estimate (animals) with the person's usual error taken out."""
        return estimate * math.exp(-self.bias)


def pairs_of(history: Iterable[Tried], person: str, method: str) -> list[Pair]:
    """Return the pairs in one tub's counts: this person's guesses, each with the sort that came next.

    A sort more than 30 days later says nothing, since animals were born and died. What moved in between is put back.
    """
    pairs: list[Pair] = []
    guess: Tried | None = None
    moved = 0
    for tried in sorted(history, key=lambda tried: tried.at):
        moved += tried.moved
        if tried.method in TRUTHS and guess is not None:
            pairs += _pair(guess, tried, moved)
            guess = None
        elif tried.method == method and tried.person == person:
            guess, moved = tried, 0
    return pairs


def shared_error(pairs: Sequence[Pair], method: str) -> SharedError:
    """Return the shared error of a person and method on the natural-log scale.

    Under five pairs it is the keeper's default. From five on it is their mean and spread: what the guesses' own spread
    explains is taken off, and the rest is widened as a t prediction for the next guess, so that few pairs do not make
    an eye look sure. Raises KeyError for an unknown method. Source: prediction interval of a normal sample (textbook).
    """
    n = len(pairs)
    if n < PAIRS_NEEDED:
        return SharedError(0.0, SHARED_SD[method], n, False, KEEPER_DEFAULT)
    ratios = [pair.log_ratio for pair in pairs]
    spread = math.sqrt(max(LEAST_SHARED_SD**2, stdev(ratios) ** 2 - fmean(pair.own_variance for pair in pairs)))
    widened = spread * math.sqrt(1 + 1 / n) * t_of(STORED_CONFIDENCE, n - 1) / STORED_Z
    return SharedError(fmean(ratios), widened, n, True, f"learnt from {n} sorts that followed a guess")


def _pair(guess: Tried, truth: Tried, moved: int) -> list[Pair]:
    then = truth.estimate - moved
    late = (day_of(truth.at) - day_of(guess.at)).days > PAIR_WITHIN_DAYS
    if late or then <= 0 or guess.estimate <= 0:
        return []
    return [Pair(math.log(guess.estimate / then), guess.own_sd**2 + truth.own_sd**2)]
