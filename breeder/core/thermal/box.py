"""Turn the keeper's kit into a network of heat capacities and conductances.

Assumes one well-mixed air node, a payload of nearly uniform temperature (Biot number under 0.5), and walls that
conduct by the Langmuir shape factor. Evaporation and the animals' own heat are left out, which is safe on the cold side
only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .kit import Payload, ShippingBox, ThermalKit, WallLayer
from .materials import (
    AIR_J_KGK,
    AIR_KG_M3,
    DRY_ORGANIC_J_KGK,
    FOIL_GAP_M2K_W,
    MATERIALS,
    SUBSTRATE_W_MK,
    WATER_J_KGK,
    moist_j_kgk,
)

Sides = tuple[float, float, float]

# Film outside the box, W/m2K: in a van or hub; on a porch in a light breeze; in wind. Source: ASHRAE
# Fundamentals surface conductances for still air (8.29) and moving air (22.7 at 3.4 m/s), from memory.
FILMS: dict[str, float] = {"indoors": 8.3, "porch": 17.0, "windy": 25.0}

_EDGE = 0.54  # Langmuir shape factor, meter of conduction per meter of edge
_CORNERS = 1.2  # eight corners of 0.15 wall thickness each


@dataclass(frozen=True)
class Network:
    """Heat capacities and conductances: air and payload, then a chain of wall nodes to the outside.

    `wall_w_k` has one value more than `wall_j_k`: air to the first node, between nodes, last node to the outside.
    """

    payload_w_k: float
    air_j_k: float
    payload_j_k: float
    wall_w_k: tuple[float, ...]
    wall_j_k: tuple[float, ...] = ()

    @property
    def outside_w_k(self) -> float:
        """Return the steady conductance from the air node to the outside, W/K."""
        return 1.0 / sum(1.0 / g for g in self.wall_w_k)

    @property
    def model(self) -> str:
        """Return the name of the model."""
        return "air, payload, foam and board" if self.wall_j_k else "air and payload"

    def leaking(self, factor: float) -> Network:
        """Return the same network with every wall conductance multiplied by the leak factor."""
        return replace(self, wall_w_k=tuple(g * factor for g in self.wall_w_k))

    def matrices(self, packs: tuple[tuple[float, float], ...] = ()) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return A (n, n) in 1/s and B (n, 2) of x' = Ax + Bu, u = (outside degC, power W into the air).

        States: air, payload, wall nodes outwards, then one node per pack given as (capacity J/K, contact W/K).
        """
        capacity = [self.air_j_k, self.payload_j_k, *self.wall_j_k, *(c for c, _ in packs)]
        n, walls = len(capacity), len(self.wall_j_k)
        flow = np.zeros((n, n))
        chain = [0, *range(2, 2 + walls)]
        links = [(0, 1, self.payload_w_k)]
        links += [(chain[k], chain[k + 1], self.wall_w_k[k]) for k in range(walls)]
        links += [(0, 2 + walls + k, contact) for k, (_, contact) in enumerate(packs)]
        for a, b, g in links:
            flow[a, a] -= g
            flow[b, b] -= g
            flow[a, b] += g
            flow[b, a] += g
        inputs = np.zeros((n, 2))
        flow[chain[-1], chain[-1]] -= self.wall_w_k[-1]
        inputs[chain[-1], 0] = self.wall_w_k[-1]
        inputs[0, 1] = 1.0
        by_capacity = 1.0 / np.array(capacity)[:, None]
        return flow * by_capacity, inputs * by_capacity


def area_m2(sides_m: Sides) -> float:
    """Return the surface of a box from its three sides in meters."""
    a, b, c = sides_m
    return 2.0 * (a * b + b * c + a * c)


def shape_factor_m(inner_m: Sides, thickness_m: float) -> float:
    """Return the conduction shape factor of one layer, meters: A/t + 0.54 sum of edges + 1.2 t.

    Valid when every inner side is over a fifth of the thickness. Check: (0.25, 0.20, 0.15), 0.0254 gives
    10.578448504. Source: Langmuir 1913, as in Incropera & DeWitt, ch. 4.
    """
    return area_m2(inner_m) / thickness_m + _EDGE * 4.0 * sum(inner_m) + _CORNERS * thickness_m


@dataclass(frozen=True)
class _Wall:
    """One layer in place: its resistance K/W, capacity J/K and the outer sides."""

    layer: WallLayer
    k_w: float
    j_k: float
    outer_m: Sides


def _grown(sides_m: Sides, by_m: float) -> Sides:
    return (sides_m[0] + 2 * by_m, sides_m[1] + 2 * by_m, sides_m[2] + 2 * by_m)


def _is_sheet(layer: WallLayer) -> bool:
    return MATERIALS[layer.material].resistance_m2k_w is not None


def outer_sides_m(box: ShippingBox) -> Sides:
    """Return the outer sides in meters; a foil sheet lies against the wall and adds nothing."""
    return _grown(box.inner_m, sum(layer.mm / 1000.0 for layer in box.layers if not _is_sheet(layer)))


def _walls(box: ShippingBox) -> list[_Wall]:
    """Return the layers in place; the resistance of a sheet acts over the geometric mean of inner and outer area."""
    mean_area = math.sqrt(area_m2(box.inner_m) * area_m2(outer_sides_m(box)))
    sides, walls = box.inner_m, []
    for layer in box.layers:
        material = MATERIALS[layer.material]
        if material.resistance_m2k_w is not None and material.sheet_mm is not None:
            resistance = material.resistance_m2k_w * layer.mm / material.sheet_mm + FOIL_GAP_M2K_W.get(
                layer.gap_mm, 0.0
            )
            walls.append(_Wall(layer, resistance / mean_area, 0.0, sides))
            continue
        thickness = layer.mm / 1000.0
        outer = _grown(sides, thickness)
        heat = (math.prod(outer) - math.prod(sides)) * material.rho_kg_m3 * material.c_j_kgk
        walls.append(_Wall(layer, 1.0 / (material.k_w_mk * shape_factor_m(sides, thickness)), heat, outer))
        sides = outer
    return walls


def _films_k_w(box: ShippingBox, outside_film_w_m2k: float | None) -> tuple[float, float]:
    outside = box.outside_film_w_m2k if outside_film_w_m2k is None else outside_film_w_m2k
    return 1.0 / (box.inside_film_w_m2k * area_m2(box.inner_m)), 1.0 / (outside * area_m2(outer_sides_m(box)))


def conductance_w_k(box: ShippingBox, outside_film_w_m2k: float | None = None) -> float:
    """Return the conductance from the inside air to the outside, W/K, leak factor included.

    1/[1/(h_i A_in) + sum 1/(k S) + R_sheet/sqrt(A_in A_out) + 1/(h_o A_out)] times the leak factor. Air that
    passes through holes is part of the leak factor: 0.6 changes an hour of 10 liters carry only 0.002 W/K.
    Check: 0.25 x 0.20 x 0.15 m, 4 mm board 0.6849; with 19 mm EPS 0.3031.
    """
    inside, outside = _films_k_w(box, outside_film_w_m2k)
    return box.leak_factor / (inside + sum(wall.k_w for wall in _walls(box)) + outside)


def payload_w_k(payload: Payload, inside_film_w_m2k: float) -> float:
    """Return the conductance from the air to the middle of the cups, W/K: A / (1/h_i + L/(3 k)).

    Check: 8 cups of 0.025 m2, half depth 0.025 m, film 6 give 1.0667.
    """
    inner = payload.half_depth_m / (3.0 * SUBSTRATE_W_MK)
    return payload.cups * payload.cup_area_m2 / (1.0 / inside_film_w_m2k + inner)


def _capacities(kit: ThermalKit) -> tuple[float, float]:
    """Return J/K of the air with dunnage, and of the payload with ballast."""
    air = AIR_KG_M3 * kit.box.litres / 1000.0 * AIR_J_KGK + kit.payload.dunnage_kg * DRY_ORGANIC_J_KGK
    payload = kit.payload.kg * moist_j_kgk(kit.payload.water_share) + kit.ballast_kg * WATER_J_KGK
    return air, payload


def simple_network(kit: ThermalKit, outside_film_w_m2k: float | None = None) -> Network:
    """Return the two-node network that can be checked by hand.

    The air node gets the share of each layer's capacity that equals the share of the resistance outside its middle.
    The box's usual film is used for that, so that a change of film changes no stored heat. Within 0.1 K rms of a
    conducting wall.
    """
    air, payload = _capacities(kit)
    inside, outside = _films_k_w(kit.box, None)
    walls = _walls(kit.box)
    total = inside + sum(wall.k_w for wall in walls) + outside
    before = inside
    for wall in walls:
        air += wall.j_k * (total - before - wall.k_w / 2.0) / total
        before += wall.k_w
    conductance = conductance_w_k(kit.box, outside_film_w_m2k)
    return Network(payload_w_k(kit.payload, kit.box.inside_film_w_m2k), air, payload, (conductance,))


def network(kit: ThermalKit, outside_film_w_m2k: float | None = None) -> Network:
    """Return the network that verdicts use: four nodes for a lined box, two for a bare one.

    The liner is one node at the capacity-weighted middle of its layers, and the outermost layer is another at its
    middle. The payload is within 0.01 K rms of that behind a finely divided conducting wall. A liner that stores no
    heat (foil alone) leaves the two-node network.
    """
    walls = _walls(kit.box)
    liner, board = walls[:-1], walls[-1]
    if sum(wall.j_k for wall in liner) <= 0.0 or board.j_k <= 0.0:
        return simple_network(kit, outside_film_w_m2k)
    inside, outside = _films_k_w(kit.box, outside_film_w_m2k)
    heat = sum(wall.j_k for wall in liner)
    reach, middle = 0.0, 0.0
    for wall in liner:
        middle += wall.j_k / heat * (reach + wall.k_w / 2.0)
        reach += wall.k_w
    leak = kit.box.leak_factor
    resistances = (inside + middle, reach - middle + board.k_w / 2.0, board.k_w / 2.0 + outside)
    air, payload = _capacities(kit)
    film = payload_w_k(kit.payload, kit.box.inside_film_w_m2k)
    return Network(film, air, payload, tuple(leak / r for r in resistances), (heat, board.j_k))
