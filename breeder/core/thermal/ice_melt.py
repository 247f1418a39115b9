"""Measure how much heat a box lets through, from the ice that melted in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .box_fit import MOST_SD_LN, CannotFit
from .materials import ICE_MELT_KJ_KG, SECONDS_PER_HOUR

WEIGHING_SD_LN = 0.20  # of one weighing: scale, clock, a start that was not at 0 degC (judgment)
BAG_W_K, BAG_SD_LN = 1.0, 0.3  # a bag with a kilogram of ice: 7 W/m2K on its faces, and what it lies on (judgment)


class BagAlone(CannotFit):
    """So much ice melted that the bag must let through more heat than stated."""


@dataclass(frozen=True)
class Melted:
    """The conductance of a box in W/K, from melted ice, and the spread of its logarithm."""

    conductance_w_k: float
    log_sd: float


def melted_ice(melted_kg: float, hours: float, outside_c: float, bag_w_k: float = BAG_W_K) -> Melted:
    """Return a box's conductance from the ice that melted in it: 1/UA = t dT/(m L) - 1/G.

    G is the conductance of the bag and its film in W/K. Assumes that the ice stays at 0 degC and nothing else is in the
    box. Raises BagAlone when the bag alone explains the melt, CannotFit when it nearly does. Source: ice-melt method,
    Burgess 1999, Packaging Technology and Science 12:75; two resistances in series. Check: 0.42 kg in 6 h at 21 degC
    in a bag of 1 W/K gives 0.44685.
    """
    if not min(melted_kg, hours, outside_c, bag_w_k) > 0:
        raise CannotFit(
            f"{melted_kg:g} kg in {hours:g} h at {outside_c:g} degC in a bag of {bag_w_k:g} W/K does not tell how "
            "leaky the box is. All four must be above 0: melt some ice in a warm place, and weigh it."
        )
    both = melted_kg * ICE_MELT_KJ_KG * 1000.0 / (hours * SECONDS_PER_HOUR * outside_c)
    if both >= bag_w_k:
        raise BagAlone(
            f"{both:.2f} W for every degree reached the ice, but the bag alone lets only {bag_w_k:g} through. "
            "Check the weights and the hours; ice spread out in more bags takes up more."
        )
    conductance = 1.0 / (1.0 / both - 1.0 / bag_w_k)
    log_sd = math.hypot(WEIGHING_SD_LN, BAG_SD_LN * conductance / bag_w_k)
    if log_sd > MOST_SD_LN:
        raise CannotFit(
            f"The bag held up more heat than the box did, so the box is known only to within {100 * log_sd:.0f} %. "
            "Spread the ice out in more bags, or use loggers."
        )
    return Melted(conductance, log_sd)
