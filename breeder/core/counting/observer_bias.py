"""How far off one keeper is with one method, learnt from every full sort that follows a guess."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import fmean, stdev

from .defaults import KEEPER_DEFAULT, LEAST_SHARED_SD, PAIR_WITHIN_DAYS, PAIRS_NEEDED, SHARED_SD, STORED_CONFIDENCE
from .methods import Count
from .methods.count import spread_to
from .quantiles import STORED_Z, day_of, t_of

TRUTHS = ("full_sort", "removal")  # counts good enough to measure a guess against
GUESSES = ("eye", "piece", "index", "portions", "weight", "marked")  # counts that a person may be off with


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
    """A guess and the truth that followed it: ln(guess / truth), and the variance that is not the person's.

    `guess` and `truth` in animals at the moment of the guess, and when it was made, for showing.
    """

    log_ratio: float
    own_variance: float
    guess: float = 0.0
    truth: float = 0.0
    at: date | None = None


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


def unbiased(count: Count, bias: float, pairs: int) -> Count:
    """Return a count with its person's usual error (natural log) taken out of estimate, bounds and standard error.

    Animals that were in the hand stay a floor. `pairs` is how many sorts say so, for the working.
    """
    if count.estimate is None or count.log_sd is None or count.lower is None or not count.estimate or not bias:
        return count
    factor = math.exp(-bias)
    estimate, lower = (max(count.floor, value * factor) for value in (count.estimate, count.lower))
    lower95 = max(count.floor, count.estimate * math.exp(-STORED_Z * count.log_sd) * factor)
    low, high = count.interval or (lower, estimate)
    step = (
        f"Counted so you see {1 / factor:.2f} of what is there, as {pairs} sorts that followed a guess show: "
        f"{count.estimate:.1f} / {1 / factor:.2f} = {estimate:.1f}, and at least {lower:.1f}."
    )
    return replace(
        count,
        estimate=estimate,
        lower=lower,
        interval=None if count.interval is None else (max(count.floor, low * factor), max(estimate, high * factor)),
        standard_error=None if count.standard_error is None else count.standard_error * factor,
        log_sd=spread_to(estimate, lower95),
        steps=(*count.steps, step),
        bound_at=lambda level: max(count.floor, count.lower_at(level) * factor),
    )


def raw_estimate(corrected: float, bias: float) -> float:
    """Return the animals that were guessed before a bias was taken out."""
    return corrected * math.exp(bias)


def _pair(guess: Tried, truth: Tried, moved: int) -> list[Pair]:
    then = truth.estimate - moved
    late = (day_of(truth.at) - day_of(guess.at)).days > PAIR_WITHIN_DAYS
    if late or then <= 0 or guess.estimate <= 0:
        return []
    own = guess.own_sd**2 + truth.own_sd**2
    return [Pair(math.log(guess.estimate / then), own, guess.estimate, then, guess.at)]
