"""Read kits and series from a JSON document, and note every fault with its path."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from breeder.core.jsonio.document_reader import Reader

from .box import Network, simple_network
from .kit import (
    AIRTIGHT_BELOW_H,
    BadKit,
    HeatPack,
    Pack,
    Payload,
    PhaseChangePack,
    ShippingBox,
    ThermalKit,
    WallLayer,
    airtight_text,
    has_too_many_packs,
    too_many_packs_text,
)
from .materials import MATERIALS
from .single_run import LONGEST_RUN_H, Packed, Series, packed

Array = NDArray[np.float64]
Made = TypeVar("Made")

COLDEST_C, WARMEST_C = -100.0, 150.0  # limits of every temperature in a document
MOST_W = 10_000.0
# Far below any real box; below these the matrices become so ill-conditioned that temperatures are missing or wrong.
LEAST_W_K, LEAST_J_K, LEAST_LITRES = 1e-6, 1e-3, 1e-3


def _made(reader: Reader, make: Callable[[], Made]) -> Made | None:
    """Return what `make` returns, or None after noting what it refused; no field is blamed twice."""
    try:
        return make()
    except BadKit as refused:
        blamed = {fault.path for fault in reader.faults}
        for path, sentence in refused.faults:
            if reader.at(path) not in blamed:
                reader.fault(path, sentence)
        return None


def _layer(reader: Reader) -> WallLayer | None:
    material = reader.choice("material", tuple(MATERIALS))
    known_material = MATERIALS.get(material)
    if known_material is not None and known_material.sheet_mm is not None:
        mm = reader.number("mm", default=known_material.sheet_mm)
    else:
        mm = reader.number("mm")
    gap = reader.number("gap_mm", default=0.0)
    reader.done()
    return _made(reader, lambda: WallLayer(material, mm, gap))


def read_box(reader: Reader) -> ShippingBox | None:
    """Return a box with its layers; None after faults."""
    inner = reader.numbers("inner_m")
    rows = [_layer(row) for row in reader.objects("layers")]
    layers = tuple(row for row in rows if row is not None)
    film_in = reader.number("inside_film_w_m2k", default=6.0)
    film_out = reader.number("outside_film_w_m2k", default=8.3)
    leak = reader.number("leak_factor", default=1.0)
    air = reader.number("air_changes_h", default=0.6)
    reader.done()
    # Stand-in walls keep an empty list from being blamed as well when its rows already were.
    walls = layers or tuple(WallLayer("corrugated", 4.0) for _ in rows)
    if any(fault.path.startswith(reader.at("layers")) for fault in reader.faults):
        walls = walls or (WallLayer("corrugated", 4.0),)
    if not reader.usable:
        return None
    made = _made(reader, lambda: ShippingBox((*inner,), walls, film_in, film_out, leak, air))  # type: ignore[arg-type]
    return made if len(layers) == len(rows) else None


def _payload(reader: Reader) -> Payload | None:
    kg, water, cups = reader.number("kg"), reader.number("water_share", default=0.7), reader.whole("cups", default=1)
    area, depth = reader.number("cup_area_m2", default=0.025), reader.number("half_depth_m", default=0.025)
    dunnage = reader.number("dunnage_kg", default=0.0)
    reader.done()
    return _made(reader, lambda: Payload(kg, water, cups, area, depth, dunnage)) if reader.usable else None


def _pack(reader: Reader) -> Pack | None:
    kind = reader.choice("kind", ("heat", "phase_change"))
    if kind == "heat":
        rated, grams = reader.number("rated_h"), reader.number_or_none("grams")
        lit = reader.number("lit_h", default=0.0)
        reader.done()
        return _made(reader, lambda: HeatPack(rated, grams, lit))
    if kind == "phase_change":
        first = [reader.number(name) for name in ("kg", "melt_c", "latent_kj_kg", "start_c")]
        usual = {"width_k": 1.0, "solid_j_kgk": 1800.0, "liquid_j_kgk": 2000.0, "contact_w_k": 1.0}
        rest = [reader.number(name, default=value) for name, value in usual.items()]
        reader.done()
        return _made(reader, lambda: PhaseChangePack(*first, *rest))
    return None


def _network(reader: Reader) -> Network:
    outside, payload = (reader.number(name, low=LEAST_W_K, high=1e7) for name in ("outside_w_k", "payload_w_k"))
    air, heat = (reader.number(name, low=LEAST_J_K, high=1e7) for name in ("air_j_k", "payload_j_k"))
    return Network(payload, air, heat, (outside,))


def _air(readers: list[Reader]) -> tuple[float | None, float]:
    """Return free liters (None: plenty of oxygen) and air changes, given inside the network or next to it."""
    free, changes = None, 0.6
    for reader in readers:
        if reader.has("free_litres"):
            free = reader.number("free_litres", low=LEAST_LITRES, high=1e6)
        if reader.has("air_changes_h"):
            changes = reader.number("air_changes_h", low=0.0, high=100.0)
    return free, changes


@dataclass(frozen=True)
class KitReading:
    """What a document describes: the network with its packs, and the kit if it has a box."""

    packed: Packed
    kit: ThermalKit | None
    simple: Network


def read_kit(reader: Reader) -> KitReading | None:
    """Return the kit or network of a document; None after faults. The caller calls `done`."""
    packs = [_pack(row) for row in reader.objects("packs", default=())]
    fine = tuple(pack for pack in packs if pack is not None)
    which = reader.exactly_one(("network", "box"))
    if which == "network":
        inner = reader.object("network")
        net, (free, changes) = _network(inner), _air([reader, inner])
        inner.done()
        heat = tuple(pack for pack in fine if isinstance(pack, HeatPack))
        phase = tuple(pack for pack in fine if isinstance(pack, PhaseChangePack))
        if heat and free is not None and changes < AIRTIGHT_BELOW_H:
            reader.fault("air_changes_h", airtight_text(changes))
        if has_too_many_packs(phase):
            reader.fault("packs", too_many_packs_text(phase))
        return KitReading(Packed(net, heat, phase, free, changes), None, net)
    if which != "box":
        _with_box(reader)
        return None
    box, payload, ballast = _with_box(reader)
    if box is None or payload is None or len(fine) < len(packs):
        return None
    kit = _made(reader, lambda: ThermalKit(box, payload, ballast, fine))
    return None if kit is None else KitReading(packed(kit), kit, simple_network(kit))


def _with_box(reader: Reader) -> tuple[ShippingBox | None, Payload | None, float]:
    """Read box, payload and ballast, as far as they are given."""
    box = read_box(reader.object("box")) if reader.has("box") else None
    payload = _payload(reader.object("payload")) if reader.has("box") or reader.has("payload") else None
    return box, payload, reader.number("ballast_kg", default=0.0, low=0.0, high=100.0)


def read_hours(reader: Reader, name: str = "hours") -> list[float]:
    """Return hours that start at 0 and increase."""
    hours = reader.numbers(name, least=1, low=0.0, high=LONGEST_RUN_H)
    if hours and hours[0] > 0.0:
        reader.fault_at(f"{reader.at(name)}[0]", f"It is {hours[0]:g}, but hours start at 0.")
    for place in range(1, len(hours)):
        if hours[place] <= hours[place - 1]:
            words = f"It is {hours[place]:g} after {hours[place - 1]:g}, but hours must increase."
            reader.fault_at(f"{reader.at(name)}[{place}]", words)
    return hours


def read_series(reader: Reader, name: str, low: float, high: float) -> Series:
    """Return a series of one column from `hours` and the values in field `name`."""
    hours, values = read_hours(reader), reader.numbers(name, least=1, low=low, high=high)
    if hours and values and len(hours) != len(values):
        reader.fault(name, f"It has {len(values)} values for {len(hours)} hours; give one for each.")
    reader.done()
    return Series(np.array(hours), np.array(values)[:, None])
