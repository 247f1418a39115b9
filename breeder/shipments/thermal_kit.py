"""Turn a kit of the book into the heat model's kit."""

from typing import Any

from breeder.core.thermal.kit import HeatPack, Pack, Payload, PhaseChangePack, ShippingBox, WallLayer
from breeder.core.thermal.kit import ThermalKit as HeatKit
from breeder.shipments.models import Kit

# A parcel of eight cups with moss, paper and animals weighs about 0.45 kg inside (common practice, no source).
KG_PER_CUP = 0.056
WATER_SHARE = 0.7


def kit_box(kit: Kit) -> ShippingBox:
    """Return the kit's box. Raises the core's BadKit for an impossible value."""
    layers = tuple(WallLayer(row["material"], float(row["mm"]), float(row.get("gap_mm") or 0.0)) for row in kit.layers)
    return ShippingBox(
        inner_m=tuple(float(side) for side in kit.inner_m),  # type: ignore[arg-type]
        layers=layers,
        leak_factor=kit.leak_factor,
        air_changes_h=kit.air_changes_h,
    )


def kit_pack(row: dict[str, Any]) -> Pack:
    """Return one pack of a kit from its stored form. Raises the core's BadKit."""
    if row["kind"] == "heat":
        grams = row.get("grams")
        return HeatPack(float(row["rated_h"]), None if grams is None else float(grams), float(row.get("lit_h", 0.0)))
    return PhaseChangePack(float(row["kg"]), float(row["melt_c"]), float(row["latent_kj_kg"]), float(row["start_c"]))


def heat_kit(kit: Kit, cups: int) -> HeatKit:
    """Return box, payload, ballast and packs for this many cups. Raises the core's BadKit, e.g. for too small a box."""
    payload = Payload(kg=max(1, cups) * KG_PER_CUP, water_share=WATER_SHARE, cups=max(1, cups))
    packs = tuple(kit_pack(row) for row in kit.packs)
    return HeatKit(kit_box(kit), payload, kit.ballast_kg, packs, kit.measured_sd_ln)
