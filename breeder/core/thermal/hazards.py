"""Write the warnings about what can hurt animals in a run: chill, heat, burns, bad air, frozen packs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import packs as heat_packs
from .regime_stepper import Trace
from .single_run import Packed

Array = NDArray[np.float64]

CHILL_K = 2.0  # the payload is chilled when a pack takes it this far below both start and weather
WARMER_C = 57  # mean surface of warmers in use (C&EN 2010)


def hazard_notes(
    what: Packed, trace: Trace, outside_c: Array, start_c: float, limits: tuple[float, float] | None
) -> list[str]:
    """Return warnings for the keeper; `outside_c` (M,) is the weather in degC at the readings of the trace."""
    sentences = [_chill(trace, outside_c, start_c)] if what.phase_change_packs else []
    if what.heat_packs:
        sentences += [_added(what, trace), _oxygen(what, trace), _frozen(trace), _burn(), _too_warm(trace, limits)]
    return [sentence for sentence in sentences if sentence]


def _chill(trace: Trace, outside_c: Array, start_c: float) -> str:
    coldest, otherwise = float(trace.payload_c.min()), min(start_c, float(outside_c.min()))
    if coldest > otherwise - CHILL_K:
        return ""
    return (
        f"Chill: the pack takes the payload to {coldest:.1f} degC, although neither the start nor the weather is below "
        f"{otherwise:.1f} degC. Let the pack warm up before packing, or keep it off the cups."
    )


def _added(what: Packed, trace: Trace) -> str:
    most = float(what.pack_power_w(trace.hour).max())
    rise = most / what.network.outside_w_k
    return (
        f"The heat packs give up to {most:.2f} W, which is worth {rise:.1f} K in this box, in warm weather just as in "
        "cold."
    )


def _oxygen(what: Packed, trace: Trace) -> str:
    if what.free_litres is None:
        return ""
    burning = heat_packs.burn(
        what.heat_packs, trace.hour, air_changes_h=what.air_changes_h, free_litres=what.free_litres
    )
    share = float(burning.share.min())
    if share * heat_packs.OXYGEN_IN_AIR >= heat_packs.LOW_OXYGEN:
        return ""
    return (
        f"Oxygen in the box falls to about {100 * share * heat_packs.OXYGEN_IN_AIR:.0f} % instead of 21 %, and the "
        f"packs give only {100 * share:.0f} % of their power at first and stay warm for longer, on a warm day too. "
        "Make air holes: with little oxygen animals also tolerate less heat."
    )


def _frozen(trace: Trace) -> str:
    if not trace.stalled.any():
        return ""
    return "A heat pack freezes and stalls on the way. Open it early enough before packing, or take a warmer box."


def _burn() -> str:
    return f"Keep the heat pack off the cups: warmers are at about {WARMER_C} degC in use."


def _too_warm(trace: Trace, limits: tuple[float, float] | None) -> str:
    if limits is None or float(trace.payload_c.max()) <= limits[1]:
        return ""
    return (
        f"With the heat pack the payload reaches {float(trace.payload_c.max()):.1f} degC, above the limit of "
        f"{limits[1]:g} degC. Leave the pack out on such a day."
    )
