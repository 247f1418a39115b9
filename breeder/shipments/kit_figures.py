"""Compute what a box's walls and packs are worth in degrees, to show while a kit is edited."""

from dataclasses import dataclass, replace

import numpy as np

from breeder.core.thermal import box, packs
from breeder.core.thermal.kit import BadKit, PhaseChangePack
from breeder.core.thermal.kit import ThermalKit as HeatKit
from breeder.core.thermal.materials import SECONDS_PER_HOUR
from breeder.core.units import degree_span, degrees
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit

# The figures are for this many cups, unless a parcel is named.
USUAL_CUPS = 4

# How far the outside is from a phase-change pack's melting point in the example, K.
AGAINST_K = 10.0

# Simulation of a burn: its step, and at most how many times the printed hours it takes (a taped box: about two).
STEP_H, MOST_TIMES_LONGER = 0.25, 6.0


@dataclass(frozen=True)
class KitWorth:
    """Figures of one kit: watts through its walls per degree, and sentences for walls and packs."""

    conductance_w_k: float | None
    sentences: tuple[str, ...]
    fault: str = ""


def kit_worth(kit: Kit, *, cups: int = USUAL_CUPS, fahrenheit: bool = False) -> KitWorth:
    """Return the figures of a kit, or the reason why the kit is impossible."""
    try:
        packed = heat_kit(kit, cups)
    except BadKit as fault:
        return KitWorth(None, (), f"{_field(fault.path)}: {fault.sentence}")
    conductance = box.conductance_w_k(packed.box)
    sentences = [_walls(conductance, fahrenheit)]
    sentences += [_heat(packed, conductance, fahrenheit)] if packed.heat_packs else []
    sentences += [_phase(pack, conductance, fahrenheit) for pack in packed.phase_change_packs]
    return KitWorth(conductance, tuple(sentences))


@dataclass(frozen=True)
class PackWarmth:
    """How many degrees heat packs keep the inside above the outside, on average over `hours`."""

    degrees_k: float
    hours: float


def pack_warmth(packed: HeatKit) -> PackWarmth:
    """Return what the heat packs are worth together, from opening until they have given their printed heat.

    With plenty of air that takes the shortest printed hours; with little air it takes longer, at fewer degrees.
    """
    printed = min((pack.rated_h for pack in packed.heat_packs), default=0.0)
    if not printed:
        return PackWarmth(0.0, 0.0)
    opened = [replace(pack, lit_h=0.0) for pack in packed.heat_packs]
    hour = np.arange(0.0, MOST_TIMES_LONGER * printed, STEP_H)
    air = {"air_changes_h": packed.box.air_changes_h, "free_litres": packed.free_litres}
    given = np.cumsum(packs.together_w(opened, hour, **air)) * STEP_H
    wanted = np.cumsum(packs.together_w(opened, hour[hour < printed], air_changes_h=1.0, free_litres=None)) * STEP_H
    end = min(int(np.searchsorted(given, wanted[-1])), len(hour) - 1)
    hours = float(hour[end]) + STEP_H
    return PackWarmth(float(given[end]) / hours / box.conductance_w_k(packed.box), hours)


def _walls(conductance: float, fahrenheit: bool) -> str:
    per_degree = conductance / (1.8 if fahrenheit else 1.0)
    unit = "°F" if fahrenheit else "°C"
    return f"The walls let {per_degree:.2f} watts through for every {unit} between inside and outside."


def _heat(packed: HeatKit, conductance: float, fahrenheit: bool) -> str:
    warmers, warmth = packed.heat_packs, pack_warmth(packed)
    name = "The heat pack is" if len(warmers) == 1 else f"The {len(warmers)} heat packs are together"
    keeps = "it keeps" if len(warmers) == 1 else "they keep"
    span = degree_span(warmth.degrees_k, fahrenheit=fahrenheit)
    return (
        f"{name} worth {span} in this box: {keeps} the inside about that much above the outside for "
        f"{warmth.hours:.0f} hours, on a warm day too."
    )


def _phase(pack: PhaseChangePack, conductance: float, fahrenheit: bool) -> str:
    hours = pack.kg * pack.latent_kj_kg * 1000.0 / (conductance * AGAINST_K * SECONDS_PER_HOUR)
    melts = degrees(pack.melt_c, fahrenheit=fahrenheit)
    against = degree_span(AGAINST_K, fahrenheit=fahrenheit, digits=0)
    # A pack that starts solid takes up heat while it melts; one that starts melted gives heat while it freezes.
    side = "above" if pack.start_c < pack.melt_c else "below"
    return f"The {melts} pack holds about {melts} for {hours:.0f} hours while it is {against} {side} that outside."


def _field(path: str) -> str:
    names = {
        "inner_m": "Inner size", "layers": "Layers", "mm": "Thickness", "material": "Material", "gap_mm": "Air gap",
        "payload.kg": "Size", "box.air_changes_h": "Air holes", "packs": "Packs", "rated_h": "Heat pack, printed hours",
        "grams": "Heat pack, weight", "lit_h": "Heat pack, opened", "kg": "Cold pack, weight",
        "melt_c": "Cold pack, melts at", "latent_kj_kg": "Cold pack, heat it takes", "start_c": "Cold pack, goes in at",
        "leak_factor": "Leakier by", "ballast_kg": "Water",
    }  # fmt: skip
    return names.get(path.partition("[")[0], path)
