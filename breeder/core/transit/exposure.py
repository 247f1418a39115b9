"""Describe what surrounds a box with a given service: when the truck leaves, depots, van, and doorstep.

Where the keeper knows nothing, usual values hold, with their whole range. All numbers here are judgment, no source.
"""

from dataclasses import dataclass
from datetime import time
from decimal import Decimal
from enum import StrEnum
from typing import Protocol


class NetworkAir(StrEnum):
    """What the keeper knows about the air in a carrier's network at night."""

    DEPOTS = "depots"
    MIXED = "mixed"
    TRAILERS = "trailers"


class DoorstepSun(StrEnum):
    """What the keeper knows about the sun on the doorstep."""

    UNKNOWN = "unknown"
    SHADE = "shade"
    SUN = "sun"


class ServiceFacts(Protocol):
    """The fields of a service that this module reads."""

    truck_at: time
    van_hours: Decimal | None
    hub_c: Decimal | None
    network: str
    doorstep: str


# Collected parcels wait in a van or depot until the evening truck leaves (common practice, no source).
EVENING_TRUCK = time(20, 0)
# A hub is near room temperature; a quarter of its air comes from the docks (judgment; packaging laboratories report
# room temperature in any climate).
HUB_C, HUB_DOCK_SHARE = 18.0, 0.25

# Share of outside air in the network (judgment): an unheated trailer has nothing else.
OUTSIDE_SHARE = {
    NetworkAir.DEPOTS: HUB_DOCK_SHARE,
    NetworkAir.MIXED: 0.6,
    NetworkAir.TRAILERS: 1.0,
}
# Lowest and highest share of full sun on a doorstep (judgment): in shade it still sees some of the sky.
SUN_ON_STEP = {
    DoorstepSun.UNKNOWN: (0.0, 1.0),
    DoorstepSun.SHADE: (0.0, 0.25),
    DoorstepSun.SUN: (0.75, 1.0),
}


@dataclass(frozen=True)
class Template:
    """What surrounds a box, as far as it depends on the service."""

    truck_at: time = EVENING_TRUCK
    van_h: float | None = None
    hub_c: float = HUB_C
    outside_share: float = HUB_DOCK_SHARE
    step_sun: tuple[float, float] = SUN_ON_STEP[DoorstepSun.UNKNOWN]

    def step_gain(self, gain: float) -> tuple[float, float]:
        """Return (least, factor) that fit a draw between shade and full sun, up to `gain`, to this doorstep."""
        low, high = self.step_sun
        return low * gain, high - low


USUAL = Template()


def service_template(service: ServiceFacts) -> Template:
    """Return what is known about a service; usual values for the rest."""
    return Template(
        truck_at=service.truck_at,
        van_h=None if service.van_hours is None else float(service.van_hours),
        hub_c=HUB_C if service.hub_c is None else float(service.hub_c),
        outside_share=OUTSIDE_SHARE[NetworkAir(service.network)],
        step_sun=SUN_ON_STEP[DoorstepSun(service.doorstep)],
    )
