"""Beverton–Holt growth in a tub of limited capacity, and its yield."""

from __future__ import annotations

import math


def animals_after(now: float, rate: float, months: float, capacity: float = math.inf) -> float:
    """Return the animals after `months`, starting from `now`, at log growth `rate` a month and room for `capacity`.

    N(t) = K·N·λᵗ / (K + N·(λᵗ − 1)), λ = e^rate. Source: Beverton & Holt 1957.
    """
    grown = now * math.exp(rate * months)
    return grown if math.isinf(capacity) else capacity * grown / (capacity + grown - now)


def months_to_reach(now: float, wanted: float, rate: float, capacity: float = math.inf) -> float | None:
    """Return the months until `wanted` animals are there; None when the tub never holds that many."""
    if wanted <= now:
        return 0.0
    if rate <= 0 or wanted >= capacity:
        return None
    crowding = 0.0 if math.isinf(capacity) else math.log((1 - now / capacity) / (1 - wanted / capacity))
    return (math.log(wanted / now) + crowding) / rate


def best_standing_stock(capacity: float, rate: float) -> tuple[float, float]:
    """Return (stock, monthly yield): N* = K/(1 + √λ) gives the most, K·(√λ − 1)/(√λ + 1) a month."""
    root = math.exp(rate / 2)
    return capacity / (1 + root), capacity * (root - 1) / (root + 1)
