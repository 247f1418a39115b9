"""Counts that leave the tub undisturbed: by eye, under one piece of cover, and at a shelter or bait."""

from __future__ import annotations

import math

from ..defaults import CONFIDENCE, EYE_CLASS_WIDTH_SDS, SHELTER_SATURATION
from ..errors import MOST_ANIMALS, CountChecks
from ..quantiles import normal_quantile
from .count import Count, CountOptions, MethodEstimate, as_count

MOST_FACTOR = 10_000  # a tub is never that much larger than one piece of bark


def eye(low: float, high: float, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0) -> Count:
    """Return a guess by eye that the tub holds between `low` and `high` animals.

    Assumes a log-normal guess whose size class, end to end, is 3.29 standard deviations wide (90 % of guesses). So the
    geometric middle is the estimate, and the lower end of the class is its one-sided 95 % bound. `confidence` is
    one-sided, `shared_sd` on the log scale. Raises BadCount. Common practice, no source.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("from", low, least=1, remedy="A tub with none is a hand count of 0.")
    checks.animals(
        "to", high, least=max(1, math.ceil(low) if math.isfinite(low) else 1), remedy="Give the smaller number first."
    )
    checks.done()
    own_sd = math.log(high / low) / EYE_CLASS_WIDTH_SDS
    middle = math.sqrt(low * high)
    result = MethodEstimate(
        middle,
        middle * math.sqrt(math.expm1(own_sd**2)),
        lambda level: middle * math.exp(-normal_quantile(level) * own_sd),
        lambda level: middle * math.exp(normal_quantile(level) * own_sd),
    )
    steps = (
        f"Geometric middle of {low:g} and {high:g}: √({low:g} × {high:g}) = {middle:.1f}.",
        f"Spread of the class on the log scale: ln({high:g} / {low:g}) / {EYE_CLASS_WIDTH_SDS} = {own_sd:.3f}.",
    )
    return as_count("eye", result, CountOptions(confidence, shared_sd), steps=steps)


def piece(seen: int, factor: float, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0) -> Count:
    """Return the animals under one piece of bark or cork times the keeper's `factor` for that tub.

    Assumes the factor is known from earlier sorts. One look has no spread of its own, so the bound comes from
    `shared_sd` alone and is None without it. The animals seen are a floor. Raises BadCount. Common practice, no source.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("seen", seen, least=0)
    checks.number(
        "factor", factor, least=1, most=MOST_FACTOR, remedy="The tub holds at least what was under the piece."
    )
    checks.done()
    notes = () if shared_sd else ("One look under one piece does not show its own error, so there is no bound.",)
    steps = (f"{seen} seen under the piece × {factor:g} = {seen * factor:.1f}.",)
    result = MethodEstimate(seen * factor, None, None, None, floor=float(seen))
    return as_count("piece", result, CountOptions(confidence, shared_sd), notes if seen else (), steps)


def index(
    seen: int, trial_seen: int, trial_known: int, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return the animals seen at a shelter or bait, divided by the share seen in a trial with a known number.

    Assumes that the share p of the trial holds today, which fails above about 70 animals, when the shelter is full.
    Today's look and the trial are both samples, so the bounds are log-normal with variance (1 − p)/seen +
    (1 − p)/(known·p). The lower bound is at most `seen` divided by the one-sided Wilson upper bound of p. Raises
    BadCount. Sources: delta method; Wilson 1927, J. Am. Stat. Assoc. 22:209; saturation: Broly et al. 2012, ZooKeys
    176:133.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("seen", seen, least=0)
    checks.animals("trial_known", trial_known, least=1, remedy="Put a known number of animals in first.")
    checks.animals("trial_seen", trial_seen, least=0)
    if MOST_ANIMALS >= trial_seen > trial_known >= 1:
        checks.fault(
            "trial_seen", f"The trial saw {trial_seen} of {trial_known} animals. It cannot see more than there were."
        )
    checks.done()
    asked = CountOptions(confidence, shared_sd)
    notes = _saturation(max(seen, trial_seen))
    share = trial_seen / trial_known
    if not trial_seen:
        return _unseen_in_trial(seen, trial_known, asked, notes)
    estimate = seen / share
    steps = (
        f"The trial saw {trial_seen} of {trial_known}: a share of {share:.3f}.",
        f"{seen} seen / {share:.3f} = {estimate:.1f}.",
    )
    if not seen:
        return as_count(
            "index",
            MethodEstimate(0.0, None, None, None),
            asked,
            ("None were seen, which does not prove an empty tub.",),
            steps,
        )
    log_sd = math.sqrt((1 - share) / seen + (1 - share) / trial_seen)
    result = MethodEstimate(
        estimate,
        estimate * log_sd,
        lambda level: min(
            estimate * math.exp(-normal_quantile(level) * log_sd), seen / wilson(trial_seen, trial_known, level)[1]
        ),
        lambda level: estimate * math.exp(normal_quantile(level) * log_sd),
        floor=float(seen),
    )
    return as_count("index", result, asked, notes, steps)


def wilson(successes: int, trials: int, confidence: float) -> tuple[float, float]:
    """Return Wilson's lower and upper bound of a share, each one-sided at `confidence`.

    For a two-sided 95 % interval pass 0.975. Source: Wilson 1927; worked values in Newcombe 1998, Stat. Med. 17:857.
    """
    z = normal_quantile(confidence)
    share = successes / trials
    center = share + z**2 / (2 * trials)
    reach = z * math.sqrt(share * (1 - share) / trials + z**2 / (4 * trials**2))
    scale = 1 + z**2 / trials
    low = 0.0 if not successes else (center - reach) / scale
    high = 1.0 if successes == trials else (center + reach) / scale
    return low, high


def _unseen_in_trial(seen: int, trial_known: int, asked: CountOptions, notes: tuple[str, ...]) -> Count:
    share = wilson(0, trial_known, asked.confidence)[1]
    lower = max(seen / share * math.exp(-normal_quantile(asked.confidence) * asked.shared_sd), float(seen))
    why = f"The trial saw none of {trial_known}, so the share seen is not known and there is no estimate, only a bound."
    steps = (
        f"The share seen is at most {share:.3f}, so there are at least {seen} / {share:.3f} = {seen / share:.1f}.",
    )
    return Count("index", None, None, lower, None, (*notes, why), None, asked.confidence, asked.shared_sd, steps)


def _saturation(seen: int) -> tuple[str, ...]:
    if seen < SHELTER_SATURATION:
        return ()
    return (
        f"{seen} animals were seen, but a shelter holds about {SHELTER_SATURATION} at most and then no longer "
        "shows how many there are. Count in portions instead.",
    )
