"""Counts of a known share of the substrate: portions by volume or weight, in layers, plus visible clusters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..defaults import CONFIDENCE, FEW_PORTIONS
from ..errors import CountChecks
from ..quantiles import t_quantile
from .count import Count, CountOptions, MethodEstimate, as_count


@dataclass(frozen=True)
class SubstrateLayer:
    """Portions out of one layer of a tub: animals in each, size of each, and size of the whole layer (one unit)."""

    counts: Sequence[int]
    sizes: Sequence[float]
    whole: float


@dataclass(frozen=True)
class LayerEstimate:
    """The ratio estimate of one layer, its variance, its degrees of freedom, and whether its portions agree by luck."""

    estimate: float
    variance: float
    freedom: int
    agree_by_luck: bool


def portions(
    counts: Sequence[int],
    sizes: Sequence[float],
    whole: float,
    *,
    visible: int = 0,
    whole_cv: float = 0.0,
    confidence: float = CONFIDENCE,
    shared_sd: float = 0.0,
) -> Count:
    """Return the ratio estimate of a tub from counted portions of its substrate.

    Assumes portions taken at random; the animals may be clustered. `sizes` and `whole` are in one unit (ml, g or
    scoops), `visible` is the animals in clusters that were counted whole and taken off first, and `whole_cv` is the
    relative error of `whole`. Bounds are log-t with portions − 1 degrees of freedom and the finite population
    correction, never below the animals counted. A Poisson bound would be too high for clustered animals, so the Poisson
    spread is only a minimum. Raises BadCount. Source: Cochran 1977, Sampling Techniques, ch. 6; simulated coverage in
    tests/core/counting.
    """
    return layers(
        [SubstrateLayer(counts, sizes, whole)],
        visible=visible,
        whole_cv=whole_cv,
        confidence=confidence,
        shared_sd=shared_sd,
    )


def layers(
    parts: Sequence[SubstrateLayer],
    *,
    visible: int = 0,
    whole_cv: float = 0.0,
    confidence: float = CONFIDENCE,
    shared_sd: float = 0.0,
) -> Count:
    """Return the sum of separate ratio estimates, one for each layer (top and bottom, bark, food corner).

    Each layer needs at least two portions. Degrees of freedom follow Satterthwaite (1946, Biometrics Bull. 2:110); with
    one layer they are portions − 1. Parameters as in `portions`. Raises BadCount.
    """
    checks = CountChecks()
    checks.spread(confidence, shared_sd)
    checks.animals("visible", visible, least=0)
    checks.number("whole_cv", whole_cv, least=0, below=1, remedy="Give a share such as 0.05.")
    if not parts:
        checks.fault("strata", "There is no layer. Give at least one with its portions.")
    for place, layer in enumerate(parts):
        _check_layer(checks, layer, "" if len(parts) == 1 else f"strata[{place}].")
    checks.done()
    estimates = [ratio_estimate(layer) for layer in parts]
    hidden = sum(part.estimate for part in estimates)
    seen = visible + sum(sum(layer.counts) for layer in parts)
    notes = _notes(parts, seen)
    steps = _steps(parts, estimates, visible)
    asked = CountOptions(confidence, shared_sd)
    if not seen:
        return as_count("portions", MethodEstimate(0.0, None, None, None), asked, notes, steps)
    variance = sum(part.variance for part in estimates) + (whole_cv * hidden) ** 2
    bounds = _LogT(hidden, variance, _freedom(estimates), visible)
    result = MethodEstimate(visible + hidden, math.sqrt(variance), bounds.below, bounds.above, floor=float(seen))
    return as_count("portions", result, asked, notes, steps)


def ratio_estimate(layer: SubstrateLayer) -> LayerEstimate:
    """Return N = (Σy / Σx)·X and its variance (X/x̄)²·(1 − f)·s_d²/m with s_d² = Σ(y − Rx)²/(m − 1), f = Σx/X.

    s_d² is at least the mean count of a portion, which is the variance of animals spread at random (Poisson). Portions
    that agree more closely do so by luck. Source: Cochran 1977, Sampling Techniques, eq. 6.12–6.13.
    """
    m, total = len(layer.counts), math.fsum(layer.sizes)
    ratio = sum(layer.counts) / total
    left = max(0.0, 1 - total / layer.whole)
    scatter = math.fsum((y - ratio * x) ** 2 for y, x in zip(layer.counts, layer.sizes, strict=True)) / (m - 1)
    by_chance = sum(layer.counts) / m
    variance = (layer.whole / (total / m)) ** 2 * left * max(scatter, by_chance) / m
    return LayerEstimate(ratio * layer.whole, variance, m - 1, bool(left) and scatter < by_chance)


@dataclass(frozen=True)
class _LogT:
    """Log-t bounds of the hidden animals, plus the visible ones, which are certain."""

    hidden: float
    variance: float
    freedom: float
    visible: int

    def _reach(self, confidence: float) -> float:
        if not self.hidden or not self.variance:
            return 0.0
        return t_quantile(confidence, self.freedom) * math.sqrt(math.log1p(self.variance / self.hidden**2))

    def below(self, confidence: float) -> float:
        return self.visible + self.hidden * math.exp(-self._reach(confidence))

    def above(self, confidence: float) -> float:
        return self.visible + self.hidden * math.exp(self._reach(confidence))


def _freedom(estimates: Sequence[LayerEstimate]) -> float:
    spread = sum(part.variance for part in estimates)
    if len(estimates) == 1 or not spread:
        return float(min(part.freedom for part in estimates))
    return float(spread**2 / sum(part.variance**2 / part.freedom for part in estimates))


def _check_layer(checks: CountChecks, layer: SubstrateLayer, at: str) -> None:
    m = len(layer.counts)
    if m < 2:
        checks.fault(
            f"{at}counts",
            f"{m} counted so far, but one portion says nothing about the spread. Count at least 2 portions.",
        )
    if len(layer.sizes) != m:
        checks.fault(
            f"{at}sizes", f"There are {m} counts and {len(layer.sizes)} sizes. Give one size for each portion."
        )
    for place, y in enumerate(layer.counts):
        checks.animals(f"{at}counts[{place}]", y, least=0)
    for place, x in enumerate(layer.sizes):
        checks.measure(f"{at}sizes[{place}]", x, remedy="Measure the portion again.")
    checks.measure(f"{at}whole", layer.whole, remedy="Measure the whole tub in the unit of the portions.")
    total = math.fsum(layer.sizes)
    if total > layer.whole * (1 + 1e-9) > 0:
        checks.fault(
            f"{at}whole",
            f"The whole is {layer.whole:g}, less than the {total:g} of the portions together. "
            "Measure both in the same unit.",
        )


def _notes(parts: Sequence[SubstrateLayer], seen: int) -> tuple[str, ...]:
    if not seen:
        return ("No portion held an animal, which does not prove an empty tub. Sort it by hand before you rely on 0.",)
    fewest = min(len(layer.counts) for layer in parts)
    if fewest >= FEW_PORTIONS:
        return ()
    return (f"Only {fewest} portions were counted, so the bound is low; each portion more raises it.",)


def _steps(parts: Sequence[SubstrateLayer], estimates: Sequence[LayerEstimate], visible: int) -> tuple[str, ...]:
    steps = []
    for layer, part in zip(parts, estimates, strict=True):
        steps.append(
            f"{sum(layer.counts)} animals in {len(layer.counts)} portions of {math.fsum(layer.sizes):g} in all; "
            f"the whole is {layer.whole:g}: {part.estimate:.1f} animals, standard error {math.sqrt(part.variance):.1f}."
        )
        if part.agree_by_luck:
            steps.append("The portions agree more closely than chance does on average, so chance’s spread is used.")
    if visible:
        steps.append(f"{visible} in clusters counted whole are added.")
    return tuple(steps)
