"""What a box holds back and what a pack is worth in it, in degrees: shown beside a kit while it is written down."""

from dataclasses import dataclass

from breeder.core.thermal import box, packs
from breeder.core.thermal.kit import BadKit, HeatPack, PhaseChangePack
from breeder.core.thermal.kit import Kit as HeatKit
from breeder.core.thermal.materials import SECONDS_PER_HOUR
from breeder.core.units import degree_span, degrees
from breeder.shipments.models import Kit
from breeder.shipments.thermal_kit import heat_kit

# The parcel that figures are shown for when no parcel is named.
USUAL_CUPS = 4

# How far outside from its melting point a phase-change pack is asked to work against, K.
AGAINST_K = 10.0


@dataclass(frozen=True)
class Worth:
    """Figures of one kit: watts through its walls per degree, and a sentence for each pack."""

    conductance_w_k: float | None
    sentences: tuple[str, ...]
    fault: str = ""


def worth_of(kit: Kit, *, cups: int = USUAL_CUPS, fahrenheit: bool = False) -> Worth:
    """Return the figures of a kit; a kit that cannot be carries the reason instead."""
    try:
        packed = heat_kit(kit, cups)
    except BadKit as fault:
        return Worth(None, (), f"{_field(fault.path)}: {fault.sentence}")
    conductance = box.conductance_w_k(packed.box)
    said = [_walls(conductance, fahrenheit)]
    said += [_heat(packed, conductance, fahrenheit)] if packed.heat_packs else []
    said += [_phase(pack, conductance, fahrenheit) for pack in packed.phase_change_packs]
    return Worth(conductance, tuple(said))


def heat_worth_k(packed: HeatKit) -> float:
    """Return by how many degrees the heat packs together keep the inside above the outside over their printed hours."""
    mean_w = sum(packs.mean_w(pack) for pack in packed.heat_packs)
    if not mean_w:
        return 0.0
    left = packs.oxygen_share(mean_w, packed.box.air_changes_h, packed.free_litres)
    return float(mean_w * left / box.conductance_w_k(packed.box))


def _walls(conductance: float, fahrenheit: bool) -> str:
    per_degree = conductance / (1.8 if fahrenheit else 1.0)
    unit = "°F" if fahrenheit else "°C"
    return f"The walls let {per_degree:.2f} watts through for every {unit} between inside and outside."


def _heat(packed: HeatKit, conductance: float, fahrenheit: bool) -> str:
    warmers: tuple[HeatPack, ...] = packed.heat_packs
    hours = min(pack.rated_h for pack in warmers)
    name = "The heat pack is" if len(warmers) == 1 else f"The {len(warmers)} heat packs are together"
    keeps = "it keeps" if len(warmers) == 1 else "they keep"
    span = degree_span(heat_worth_k(packed), fahrenheit=fahrenheit)
    return (
        f"{name} worth {span} in this box: {keeps} the inside about that much above the outside for {hours:g} hours, "
        "on a warm day too."
    )


def _phase(pack: PhaseChangePack, conductance: float, fahrenheit: bool) -> str:
    hours = pack.kg * pack.latent_kj_kg * 1000.0 / (conductance * AGAINST_K * SECONDS_PER_HOUR)
    melts = degrees(pack.melt_c, fahrenheit=fahrenheit)
    against = degree_span(AGAINST_K, fahrenheit=fahrenheit, digits=0)
    # A pack that starts solid takes heat up while it melts; one that starts melted gives it while it freezes.
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
