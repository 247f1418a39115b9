"""How far off a person is with a counting method, learned from each full sort that follows a guess."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import fmean, stdev

from breeder.core.counting.methods.count import Count

from .defaults import KEEPER_DEFAULT, LEAST_SHARED_SD, PAIR_WITHIN_DAYS, PAIRS_NEEDED, SHARED_SD, STORED_CONFIDENCE
from .methods.count import spread_from_bound
from .quantiles import STORED_Z, calendar_day, t_quantile

TRUTHS = ("full_sort", "removal")  # good enough to measure a guess against
GUESSES = ("eye", "piece", "index", "portions", "weight", "marked")  # methods in which a person may be off


@dataclass(frozen=True)
class PersonCount:
    """One count of one tub and stage: the person, the method, the estimate (animals), and its spread.

    `own_sd` is that spread on the log scale without the shared error. `moved` is the number added or taken since the
    count before, so that a sale does not look like a bad eye.
    """

    at: date
    person: str
    method: str
    estimate: float
    own_sd: float = 0.0
    moved: int = 0


@dataclass(frozen=True)
class GuessPair:
    """A guess and the truth that followed it: ln(guess / truth), and the variance that is not the person's fault.

    `guess` and `truth` (animals at the moment of the guess) and `at` are for display.
    """

    log_ratio: float
    own_variance: float
    guess: float = 0.0
    truth: float = 0.0
    at: date | None = None


@dataclass(frozen=True)
class SharedError:
    """The correction for a person and method: divide estimates by exp(`bias`) and use `sd` as the shared error.

    `mark` says where the values come from: the keeper's default, or a number of pairs.
    """

    bias: float
    sd: float
    pairs: int
    learnt: bool
    mark: str

    def corrected(self, estimate: float) -> float:
        """Return an estimate (animals) with the person's usual error taken out."""
        return estimate * math.exp(-self.bias)


def guess_pairs(history: Iterable[PersonCount], person: str, method: str) -> list[GuessPair]:
    """Return the pairs in one tub's counts: this person's guesses, each with the sort that came next.

    A sort more than 30 days later is not used, because animals are born and die. What moved in between is put back.
    """
    pairs: list[GuessPair] = []
    guess: PersonCount | None = None
    moved = 0
    for count in sorted(history, key=lambda count: count.at):
        moved += count.moved
        if count.method in TRUTHS and guess is not None:
            pairs += _pair(guess, count, moved)
            guess = None
        elif count.method == method and count.person == person:
            guess, moved = count, 0
    return pairs


def shared_error(pairs: Sequence[GuessPair], method: str) -> SharedError:
    """Return the shared error of a person and method on the natural-log scale.

    With under five pairs it is the keeper's default. From five on it is their mean and spread. The spread that the
    guesses themselves explain is taken off, and the rest is widened to a t prediction for the next guess, so that a few
    lucky pairs do not make an eye look sure. Raises KeyError for an unknown method. Source: prediction interval of a
    normal sample (textbook).
    """
    n = len(pairs)
    if n < PAIRS_NEEDED:
        return SharedError(0.0, SHARED_SD[method], n, False, KEEPER_DEFAULT)
    ratios = [pair.log_ratio for pair in pairs]
    spread = math.sqrt(max(LEAST_SHARED_SD**2, stdev(ratios) ** 2 - fmean(pair.own_variance for pair in pairs)))
    widened = spread * math.sqrt(1 + 1 / n) * t_quantile(STORED_CONFIDENCE, n - 1) / STORED_Z
    return SharedError(fmean(ratios), widened, n, True, f"learned from {n} sorts that followed a guess")


def without_bias(count: Count, bias: float, pairs: int) -> Count:
    """Return a count without its person's usual error (natural log): estimate, bounds and standard error corrected.

    Animals that were in the hand stay a floor. `pairs` is the number of sorts behind the bias, for the working steps.
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
        log_sd=spread_from_bound(estimate, lower95),
        steps=(*count.steps, step),
        bound_at=lambda level: max(count.floor, count.lower_at(level) * factor),
    )


def raw_estimate(corrected: float, bias: float) -> float:
    """Return the number that was guessed, before its bias was taken out."""
    return corrected * math.exp(bias)


def _pair(guess: PersonCount, truth: PersonCount, moved: int) -> list[GuessPair]:
    then = truth.estimate - moved
    late = (calendar_day(truth.at) - calendar_day(guess.at)).days > PAIR_WITHIN_DAYS
    if late or then <= 0 or guess.estimate <= 0:
        return []
    own_variance = guess.own_sd**2 + truth.own_sd**2
    return [GuessPair(math.log(guess.estimate / then), own_variance, guess.estimate, then, guess.at)]
