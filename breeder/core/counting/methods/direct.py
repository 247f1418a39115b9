"""Direct counts: one by one, by full sort, by weight, and by an index before and after a sale."""

from __future__ import annotations

import math
from dataclasses import replace

from ..defaults import CONFIDENCE
from ..errors import MOST_ANIMALS, CountChecks
from ..quantiles import STORED_Z, normal_quantile
from .count import LEAST_BOUND, Count, CountOptions, MethodEstimate, as_count, spread_from_bound

ONE_BY_ONE = ("hand", "full_sort")  # every animal was in the hand


def hand(counted: int, missed_share: float = 0.0, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0) -> Count:
    """Return a count one by one in which a share of the animals may have been missed.

    Assumes each animal is missed independently with chance `missed_share`, so the number there is `counted` plus a
    negative binomial; the lower bound is what was counted. `confidence` is one-sided, `shared_sd` on the log scale.
    Raises BadCount. Source: negative binomial waiting time, any textbook.
    """
    return _one_by_one("hand", counted, missed_share, CountOptions(confidence, shared_sd))


def full_sort(
    counted: int, missed_share: float = 0.0, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return a full sort of the tub: every animal picked out and counted, the substrate gone through.

    Same arithmetic as `hand`, but a method of its own because guesses are measured against it. Raises BadCount.
    """
    return _one_by_one("full_sort", counted, missed_share, CountOptions(confidence, shared_sd))


def _one_by_one(method: str, number: int, missed_share: float, asked: CountOptions) -> Count:
    checks = CountChecks()
    checks.spread(asked.confidence, asked.shared_sd)
    checks.animals("counted", number, least=0)
    checks.number("missed_share", missed_share, least=0, below=1, remedy="Give a share such as 0.05 for 5 in 100.")
    checks.done()
    estimate = number / (1 - missed_share)
    error = math.sqrt(number * missed_share) / (1 - missed_share)
    result = MethodEstimate(
        estimate,
        error,
        lambda level: float(number),
        lambda level: estimate + normal_quantile(level) * error,
        floor=float(number),
    )
    if missed_share:
        steps = (f"{number} counted / (1 − {missed_share:g} missed) = {estimate:.1f}; at least the {number} counted.",)
    else:
        steps = (f"{number} counted one by one.",)
    return as_count(method, result, asked, steps=steps)


def weight(
    sample_count: int, sample_g: float, whole_g: float, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return whole weight divided by the mean weight in one counted sample (grams, animals free of substrate).

    Assumes the sample has the same mix of sizes as the rest. One sample does not show its own error, so the bound
    comes from `shared_sd` alone and is None without it; the sample itself was in the hand and is a floor. Raises
    BadCount. Common practice, no source.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("sample_count", sample_count, least=1, remedy="Count some animals and weigh them first.")
    checks.measure("sample_g", sample_g, remedy="Weigh the counted sample in grams.")
    checks.measure("whole_g", whole_g, remedy="Weigh all animals, the sample included, in grams.")
    if 0 < whole_g < sample_g:
        checks.fault(
            "whole_g",
            f"All animals weigh {whole_g:g} g, less than the sample of {sample_g:g} g. Weigh both again in grams.",
        )
    checks.done()
    estimate = sample_count * whole_g / sample_g
    result = MethodEstimate(estimate, None, None, None, floor=float(sample_count))
    notes = (
        () if shared_sd else ("One weighed sample does not show its own error, so there is no bound and no interval.",)
    )
    each_g = sample_g / sample_count
    steps = (
        f"{sample_count} animals weigh {sample_g:g} g: {each_g:.4g} g each.",
        f"{whole_g:g} g / {each_g:.4g} g = {estimate:.1f}.",
    )
    return as_count("weight", result, CountOptions(confidence, shared_sd), notes, steps)


def after_sale(
    index_before: float, index_after: float, removed: int, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return the number before a sale, from the same index (bait, shelter) before and after it.

    Assumes that both looks see the same share, with Poisson spread, and that only the `removed` animals left between
    them. The estimate is the number *before* the sale; subtract `removed` for what is left. The bound is log-normal
    with the delta-method standard error, never below the animals removed. When the index did not fall, everything is
    None with a note. About 9 times in 10 it gives no safe number, or one under a quarter of what is left (own
    simulation), so no page offers it. Raises BadCount. Source: Hoenig et al. 1993, ICES CM 1993/D:51.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.number(
        "index_before",
        index_before,
        above=0,
        most=MOST_ANIMALS,
        remedy="Without a look before the sale this cannot be used.",
    )
    checks.number("index_after", index_after, least=0, most=MOST_ANIMALS)
    checks.animals("removed", removed, least=1, remedy="Nothing was taken out, so count in another way.")
    checks.done()
    asked = CountOptions(confidence, shared_sd)
    if index_after >= index_before:
        why = (
            f"The index did not fall ({index_before:g} before, {index_after:g} after taking {removed}), so the "
            "number cannot be worked out from it. Count in another way."
        )
        return Count("after_sale", None, None, None, None, (why,), None, confidence, shared_sd, taken_since=removed)
    estimate = removed * index_before / (index_before - index_after)
    fall = index_after / index_before
    error = removed / (1 - fall) ** 2 * math.sqrt(fall**2 / index_before + fall / index_before)
    log_sd = math.sqrt(math.log1p((error / estimate) ** 2))
    result = MethodEstimate(
        estimate,
        error,
        lambda level: estimate * math.exp(-normal_quantile(level) * log_sd),
        lambda level: estimate * math.exp(normal_quantile(level) * log_sd),
        floor=float(removed),
    )
    steps = (
        f"The index fell from {index_before:g} to {index_after:g}, by {1 - fall:.0%}, when {removed} were taken.",
        f"{removed} × {index_before:g} / ({index_before:g} − {index_after:g}) = {estimate:.1f} before the sale.",
    )
    notes = (f"About {estimate - removed:.0f} are left after the sale.",)
    return as_count("after_sale", result, asked, notes, steps, taken_since=removed)


def count_after_sale(count: Count) -> Count:
    """Return a before-and-after-sale count as a count of what is left: the sale comes off estimate and bounds.

    A count without an estimate or a bound stays as it is.
    """
    taken = count.taken_since
    if not taken or count.estimate is None or count.lower is None or count.log_sd is None:
        return count
    left = max(count.estimate - taken, LEAST_BOUND)
    lower95 = count.estimate * math.exp(-STORED_Z * count.log_sd) - taken
    return replace(
        count,
        estimate=left,
        lower=min(left, max(0.0, count.lower - taken)),
        interval=count.interval and (max(0.0, count.interval[0] - taken), max(left, count.interval[1] - taken)),
        log_sd=spread_from_bound(left, lower95),
        floor=0.0,
        taken_since=0,
        bound_at=lambda level: min(left, max(0.0, count.lower_at(level) - taken)),
    )
