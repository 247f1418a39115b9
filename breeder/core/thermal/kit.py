"""Define what is packed: box, payload and packs. Impossible values are refused with a sentence and a path."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .materials import FOIL_GAP_M2K_W, MATERIALS

AIRTIGHT_BELOW_H = 0.05  # air changes an hour; taped boxes keep about 0.15 (judgment)
PACKED_KG_PER_LITRE = 0.6  # cups, bedding and animals as packed (judgment)
MOST_PHASE_CHANGE_PACKS = 3  # each one triples the regimes that are prepared


class BadKit(ValueError):
    """An impossible kit. `faults` holds every (path, sentence); `path` and `sentence` are those of the first."""

    def __init__(self, faults: list[tuple[str, str]]) -> None:
        super().__init__("\n".join(f"{path}: {sentence}" for path, sentence in faults))
        self.faults = tuple(faults)
        self.path, self.sentence = faults[0]


class _Faults(list[tuple[str, str]]):
    """Collect everything wrong with one value, so that the keeper sees all of it at once."""

    def within(self, path: str, value: float, low: float, high: float, unit: str = "") -> None:
        """Note a fault if a number is not from low to high."""
        if not (math.isfinite(value) and low <= value <= high):
            self.append((path, f"It is {value:g}{unit}, but it must be from {low:g} to {high:g}{unit}."))

    def refuse(self) -> None:
        """Raise BadKit if there is any fault."""
        if self:
            raise BadKit(self)


def airtight_text(air_changes_h: float) -> str:
    """Return why a heat pack is refused in an airtight box."""
    return (
        f"It is {air_changes_h:g} an hour, so the box is airtight, and a heat pack would use up the animals' oxygen; "
        "make air holes or leave the heat pack out."
    )


@dataclass(frozen=True)
class WallLayer:
    """One layer of wall, counted outward from the inside. `gap_mm`: still air in front of one foil face (6 or 12)."""

    material: str
    mm: float
    gap_mm: float = 0.0

    def __post_init__(self) -> None:
        faults = _Faults()
        if self.material not in MATERIALS:
            faults.append(("material", f"It is {self.material!r}, but it must be one of: {', '.join(MATERIALS)}."))
        faults.within("mm", self.mm, 0.1, 300.0, " mm")
        if self.gap_mm and self.gap_mm not in FOIL_GAP_M2K_W:
            faults.append(("gap_mm", f"It is {self.gap_mm:g} mm, but gaps of 0, 6 or 12 mm are known."))
        if self.gap_mm and self.material != "foil_bubble":
            faults.append(("gap_mm", "A gap counts only in front of foil; choose foil_bubble or leave the gap at 0."))
        faults.refuse()


@dataclass(frozen=True)
class ShippingBox:
    """A box. `leak_factor` multiplies its conductance (seams, lid); `air_changes_h` brings heat packs their oxygen."""

    inner_m: tuple[float, float, float]
    layers: tuple[WallLayer, ...]
    inside_film_w_m2k: float = 6.0
    outside_film_w_m2k: float = 8.3
    leak_factor: float = 1.0
    air_changes_h: float = 0.6

    def __post_init__(self) -> None:
        faults = _Faults()
        if len(self.inner_m) != 3:
            faults.append(("inner_m", f"It has {len(self.inner_m)} lengths, but a box has 3."))
        for place, side in enumerate(self.inner_m):
            faults.within(f"inner_m[{place}]", side, 0.02, 3.0, " m")
        if not self.layers:
            faults.append(("layers", "It is empty, but a box has at least one layer, such as 4 mm of corrugated."))
        faults.within("inside_film_w_m2k", self.inside_film_w_m2k, 0.5, 100.0, " W/m2K")
        faults.within("outside_film_w_m2k", self.outside_film_w_m2k, 0.5, 200.0, " W/m2K")
        faults.within("leak_factor", self.leak_factor, 0.2, 10.0)
        faults.within("air_changes_h", self.air_changes_h, 0.0, 100.0, " an hour")
        faults.refuse()

    @property
    def litres(self) -> float:
        """Return the inner volume in liters."""
        return math.prod(self.inner_m) * 1000.0


@dataclass(frozen=True)
class Payload:
    """The cups with their bedding and animals. `half_depth_m`: from the face of a cup to its middle."""

    kg: float
    water_share: float = 0.7
    cups: int = 1
    cup_area_m2: float = 0.025
    half_depth_m: float = 0.025
    dunnage_kg: float = 0.0

    def __post_init__(self) -> None:
        faults = _Faults()
        faults.within("kg", self.kg, 0.01, 100.0, " kg")
        faults.within("water_share", self.water_share, 0.0, 1.0)
        faults.within("cups", self.cups, 1, 1000)
        faults.within("cup_area_m2", self.cup_area_m2, 0.0005, 1.0, " m2")
        faults.within("half_depth_m", self.half_depth_m, 0.0, 0.5, " m")
        faults.within("dunnage_kg", self.dunnage_kg, 0.0, 20.0, " kg")
        faults.refuse()


@dataclass(frozen=True)
class HeatPack:
    """An air-activated warmer. `rated_h` as printed; `lit_h`: when it is opened, hours of the run (-1: 1 h before)."""

    rated_h: float
    grams: float | None = None
    lit_h: float = 0.0

    def __post_init__(self) -> None:
        faults = _Faults()
        faults.within("rated_h", self.rated_h, 1.0, 240.0, " h")
        if self.grams is not None:
            faults.within("grams", self.grams, 1.0, 2000.0, " g")
        faults.within("lit_h", self.lit_h, -240.0, 2000.0, " h")
        faults.refuse()


@dataclass(frozen=True)
class PhaseChangePack:
    """A gel or phase-change pack that enters the box at `start_c`; it melts over `width_k` around `melt_c`."""

    kg: float
    melt_c: float
    latent_kj_kg: float
    start_c: float
    width_k: float = 1.0
    solid_j_kgk: float = 1800.0
    liquid_j_kgk: float = 2000.0
    contact_w_k: float = 1.0

    def __post_init__(self) -> None:
        faults = _Faults()
        faults.within("kg", self.kg, 0.01, 50.0, " kg")
        faults.within("melt_c", self.melt_c, -60.0, 80.0, " degC")
        faults.within("latent_kj_kg", self.latent_kj_kg, 1.0, 500.0, " kJ/kg")
        faults.within("start_c", self.start_c, -60.0, 80.0, " degC")
        faults.within("width_k", self.width_k, 0.05, 20.0, " K")
        faults.within("solid_j_kgk", self.solid_j_kgk, 200.0, 10000.0, " J/kgK")
        faults.within("liquid_j_kgk", self.liquid_j_kgk, 200.0, 10000.0, " J/kgK")
        faults.within("contact_w_k", self.contact_w_k, 0.01, 50.0, " W/K")
        faults.refuse()


Pack = HeatPack | PhaseChangePack


def has_too_many_packs(packs: tuple[PhaseChangePack, ...]) -> bool:
    """Return whether there are more kinds of melting packs than the model can take; equal packs count as one."""
    return len(set(packs)) > MOST_PHASE_CHANGE_PACKS


def too_many_packs_text(packs: tuple[PhaseChangePack, ...]) -> str:
    """Return why so many kinds of melting packs are refused."""
    kinds = len(set(packs))
    return f"There are {kinds} different phase-change packs, but at most {MOST_PHASE_CHANGE_PACKS} can be simulated."


@dataclass(frozen=True)
class ThermalKit:
    """Everything that is shipped: box, payload, water ballast in kg, and packs."""

    box: ShippingBox
    payload: Payload
    ballast_kg: float = 0.0
    packs: tuple[Pack, ...] = ()
    measured_sd_ln: float | None = None  # ln spread of a measured conductance; None: as drawn, so leakier

    def __post_init__(self) -> None:
        faults = _Faults()
        if self.measured_sd_ln is not None:
            faults.within("measured_sd_ln", self.measured_sd_ln, 0.0, 0.5)
        faults.within("ballast_kg", self.ballast_kg, 0.0, 100.0, " kg")
        needed = self.payload.kg / PACKED_KG_PER_LITRE
        if needed >= self.box.litres:
            wants = f"It is {self.payload.kg:g} kg, which needs about {needed:.1f} liters"
            faults.append(("payload.kg", f"{wants}, but the box holds {self.box.litres:.1f}; take a larger box."))
        if self.heat_packs and self.box.air_changes_h < AIRTIGHT_BELOW_H:
            faults.append(("box.air_changes_h", airtight_text(self.box.air_changes_h)))
        if has_too_many_packs(self.phase_change_packs):
            faults.append(("packs", too_many_packs_text(self.phase_change_packs)))
        faults.refuse()

    @property
    def heat_packs(self) -> tuple[HeatPack, ...]:
        """Return the air-activated packs only."""
        return tuple(pack for pack in self.packs if isinstance(pack, HeatPack))

    @property
    def phase_change_packs(self) -> tuple[PhaseChangePack, ...]:
        """Return the gel and phase-change packs only."""
        return tuple(pack for pack in self.packs if isinstance(pack, PhaseChangePack))

    @property
    def free_litres(self) -> float:
        """Return the air in the packed box, liters."""
        return self.box.litres - self.payload.kg / PACKED_KG_PER_LITRE
