"""What a keeper may know of a service's way: when its truck leaves, its depots, its van, and the doorstep.

Where nothing is known the usual holds, which keeps the whole range. All numbers here are judgement, no source.
"""

from dataclasses import dataclass
from datetime import time
from decimal import Decimal
from enum import StrEnum
from typing import Protocol


class Network(StrEnum):
    """What is known of the air that a carrier's network keeps through the night."""

    DEPOTS = "depots"
    MIXED = "mixed"
    TRAILERS = "trailers"


class Doorstep(StrEnum):
    """What is known of the sun on the doorstep."""

    UNKNOWN = "unknown"
    SHADE = "shade"
    SUN = "sun"


class ServiceFacts(Protocol):
    """What is read of a service."""

    truck_at: time
    van_hours: Decimal | None
    hub_c: Decimal | None
    network: str
    doorstep: str


# Collected parcels stand in a van or depot until the evening truck leaves (common practice, no source).
EVENING_TRUCK = time(20, 0)
# A hub is kept near room temperature; a quarter of its air is the docks' (judgement; packaging laboratories report
# room temperature whatever the climate).
HUB_C, HUB_DOCK_SHARE = 18.0, 0.25

# How much of the air of the network is that outside (judgement): an unheated trailer has all of it.
OUTSIDE_SHARE = {
    Network.DEPOTS: HUB_DOCK_SHARE,
    Network.MIXED: 0.6,
    Network.TRAILERS: 1.0,
}
# Between which shares of full sun a doorstep lies (judgement): in shade some of the sky is still seen.
SUN_ON_STEP = {
    Doorstep.UNKNOWN: (0.0, 1.0),
    Doorstep.SHADE: (0.0, 0.25),
    Doorstep.SUN: (0.75, 1.0),
}


@dataclass(frozen=True)
class Template:
    """What surrounds a box leg by leg, as far as it depends on the service."""

    truck_at: time = EVENING_TRUCK
    van_h: float | None = None
    hub_c: float = HUB_C
    outside_share: float = HUB_DOCK_SHARE
    step_sun: tuple[float, float] = SUN_ON_STEP[Doorstep.UNKNOWN]

    def step_gain(self, gain: float) -> tuple[float, float]:
        """Return (least, factor) by which a draw between shade and full sun, up to `gain`, becomes this doorstep's."""
        low, high = self.step_sun
        return low * gain, high - low


USUAL = Template()


def template_of(service: ServiceFacts) -> Template:
    """Return what is known of a service's way."""
    return Template(
        truck_at=service.truck_at,
        van_h=None if service.van_hours is None else float(service.van_hours),
        hub_c=HUB_C if service.hub_c is None else float(service.hub_c),
        outside_share=OUTSIDE_SHARE[Network(service.network)],
        step_sun=SUN_ON_STEP[Doorstep(service.doorstep)],
    )
