"""Change in ratio: estimate the number from a sale that took more of one sex and moved the share of females."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..defaults import CONFIDENCE
from ..errors import CountChecks
from ..quantiles import normal_quantile
from .count import Count, CountOptions, MethodEstimate, as_count


@dataclass(frozen=True)
class SexCounts:
    """Males and females in one look, or among the animals taken out."""

    males: int
    females: int

    @property
    def both(self) -> int:
        return self.males + self.females

    @property
    def share_female(self) -> float:
        return self.females / self.both


def by_sexes(
    before: SexCounts, after: SexCounts, taken: SexCounts, *, confidence: float = CONFIDENCE, shared_sd: float = 0.0
) -> Count:
    """Return the number before a sale by sex, from the share of females seen before and after it.

    N = (F − p₂·R)/(p₁ − p₂): F females among the R animals taken, p₁ and p₂ the shares of females before and after.
    Assumes that both sexes are equally likely to be seen, that each look is a fresh binomial sample, and that only the
    animals `taken` left between the looks. The estimate is the number *before* the sale; subtract R for what is left.
    The bound is log-normal with the delta-method standard error, never below the animals taken. When the share did not
    move the way the sale would move it, everything is None with a note. Raises BadCount. Source: Paulik & Robson 1969,
    J. Wildl. Manage. 33:1; Seber 1982, ch. 9 (from memory).
    """
    _check(before, after, taken, confidence, shared_sd)
    p1, p2 = before.share_female, after.share_female
    left = (taken.females - p1 * taken.both) / (p1 - p2) if p1 != p2 else 0.0
    asked = CountOptions(confidence, shared_sd)
    if left <= 0:
        why = (
            f"{p1:.0%} were females before and {p2:.0%} after taking {taken.males} males and {taken.females} females: "
            "the share did not move as that would move it, so the number cannot be worked out. Count in another way."
        )
        return Count("by_sexes", None, None, None, None, (why,), None, confidence, shared_sd, taken_since=taken.both)
    held = left + taken.both
    error = math.sqrt(held**2 * _variance(before) + left**2 * _variance(after)) / abs(p1 - p2)
    log_sd = math.sqrt(math.log1p((error / held) ** 2))
    result = MethodEstimate(
        held,
        error,
        lambda level: held * math.exp(-normal_quantile(level) * log_sd),
        lambda level: held * math.exp(normal_quantile(level) * log_sd),
        floor=float(taken.both),
    )
    steps = (
        f"{p1:.1%} were females before, {p2:.1%} after {taken.both} were taken, {taken.females} of them females.",
        f"({taken.females} − {p2:.3f} × {taken.both}) / ({p1:.3f} − {p2:.3f}) = {held:.1f} before the sale.",
    )
    notes = (f"About {left:.0f} are left after the sale.",)
    return as_count("by_sexes", result, asked, notes, steps, taken_since=taken.both)


def _variance(look: SexCounts) -> float:
    """Return the variance of a look's share of females; a look that saw only one sex still has some."""
    share = (look.females + 1) / (look.both + 2)
    return share * (1 - share) / look.both


def _check(before: SexCounts, after: SexCounts, taken: SexCounts, confidence: float, shared_sd: float) -> None:
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    for name, look in (("before", before), ("after", after), ("taken", taken)):
        for sex in ("males", "females"):
            checks.animals(f"{name}.{sex}", getattr(look, sex))
    if not checks.faults:
        for name, look in (("before", before), ("after", after)):
            if not look.both:
                checks.fault(name, "No animal was sexed in this look. Sex some animals as they come, before and after.")
        if not taken.both:
            checks.fault("taken", "Nothing was taken out, so the share shows nothing. Count in another way.")
    checks.done()
