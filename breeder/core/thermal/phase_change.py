"""Model gel and phase-change packs by an enthalpy curve with three straight regimes: solid, melting, liquid.

In each regime the whole network is linear, so it is stepped exactly; only the crossings need care. Source: effective
heat capacity over a melting range, Voller & Cross 1981.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .kit import PhaseChangePack

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
SOLID, MELTING, LIQUID = 0, 1, 2


@dataclass(frozen=True)
class Regimes:
    """The temperatures at which packs change regime, and their capacity in each regime: arrays (packs, ...)."""

    edges_c: Array  # (packs, 2): temperatures at which melting begins and ends
    j_k: Array  # (packs, 3)
    contact_w_k: tuple[float, ...]
    start_c: Array  # (packs,)

    @property
    def packs(self) -> int:
        """Return how many pack nodes there are."""
        return len(self.contact_w_k)

    def combinations(self) -> list[tuple[tuple[float, float], ...]]:
        """Return (capacity, contact) of all packs for each combination of regimes, ordered by `code`."""
        return [
            tuple((float(self.j_k[pack, r]), self.contact_w_k[pack]) for pack, r in enumerate(regimes))
            for regimes in product(range(3), repeat=self.packs)
        ]

    def code(self, regime: Whole) -> Whole:
        """Return the number of a combination: `regime` (..., packs) of 0, 1, 2."""
        return regime @ (3 ** np.arange(self.packs)[::-1])

    def regime_at(self, pack_c: Array) -> Whole:
        """Return the regime of each pack temperature (..., packs); on an edge the pack counts as melting."""
        return (pack_c >= self.edges_c[:, 0]).astype(np.int64) + (pack_c > self.edges_c[:, 1])

    @cached_property
    def _rooms(self) -> tuple[Array, Array]:
        """Return the lowest and highest temperature of each pack in each regime, both (packs, 3)."""
        open_end = np.full((self.packs, 1), np.inf)
        return np.hstack([-open_end, self.edges_c]), np.hstack([self.edges_c, open_end])

    def room(self, regime: Whole) -> tuple[Array, Array]:
        """Return the lowest and highest temperature of each pack within its regime, both (..., packs)."""
        low, high = self._rooms
        pack = np.arange(self.packs)
        return low[pack, regime], high[pack, regime]

    def carry_over(self, pack_c: Array, regime: Whole) -> tuple[Array, Whole]:
        """Return temperatures and regimes after packs ran past an edge, without losing or adding energy.

        The energy past the edge, gained at the old capacity, is converted at the new one: H += C (T' - T), T = T(H).
        """
        now, new, pack = pack_c, regime, np.arange(self.packs)
        for _ in (SOLID, MELTING):  # a pack may run through its whole melting range in one piece
            low, high = self.room(new)
            over, under = now > high, now < low
            moved = over | under
            if not moved.any():
                break
            edge = np.where(over, high, np.where(under, low, now))
            after = new + over - under
            now, new = edge + (now - edge) * (self.j_k[pack, new] / self.j_k[pack, after]), after
        return now, new


def pack_regimes(packs: tuple[PhaseChangePack, ...]) -> Regimes:
    """Return the regimes of a kit's packs; equal packs become one with their total weight and contact.

    The melting range is centered on `melt_c`. Its capacity holds the latent heat and the mean sensible heat:
    (m L + m dT (c_s + c_l)/2) / dT.
    """
    merged = [
        replace(pack, kg=pack.kg * many, contact_w_k=pack.contact_w_k * many) for pack, many in Counter(packs).items()
    ]
    edges = [(p.melt_c - p.width_k / 2, p.melt_c + p.width_k / 2) for p in merged]
    capacities = [
        (
            p.kg * p.solid_j_kgk,
            p.kg * (p.latent_kj_kg * 1000.0 / p.width_k + (p.solid_j_kgk + p.liquid_j_kgk) / 2),
            p.kg * p.liquid_j_kgk,
        )
        for p in merged
    ]
    return Regimes(
        np.array(edges).reshape(-1, 2),
        np.array(capacities).reshape(-1, 3),
        tuple(p.contact_w_k for p in merged),
        np.array([p.start_c for p in merged]),
    )


def stored_kj(regimes: Regimes, pack_c: Array) -> Array:
    """Return each pack's heat above the start of melting, kJ, at temperatures (..., packs)."""
    low, high = regimes.edges_c[:, 0], regimes.edges_c[:, 1]
    solid = regimes.j_k[:, SOLID] * np.minimum(pack_c - low, 0.0)
    melting = regimes.j_k[:, MELTING] * np.clip(pack_c - low, 0.0, high - low)
    liquid = regimes.j_k[:, LIQUID] * np.maximum(pack_c - high, 0.0)
    return (solid + melting + liquid) / 1000.0
