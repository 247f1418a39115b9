"""Collect the inputs of a check as plain values; if any changes, the check no longer holds for the box."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from breeder.base.models import Setting
from breeder.carriers.models import Service
from breeder.carriers.queries import carrier_closures, service_timing
from breeder.core.thermal.verdict import Limits
from breeder.core.transit.delivery_days import after_working_days, delivery_days
from breeder.core.transit.exposure import service_template
from breeder.people.models import Address
from breeder.shipments.models import Kit, Parcel
from breeder.shipments.rules import departure_rules
from breeder.species.models import Species

# Goes up whenever the same inputs give other odds: checks of an older version of this program are then made again.
MODEL = 2


def box_inputs(
    parcel: Parcel, household: Setting, closures: Mapping[str, Iterable[date]] | None = None
) -> dict[str, Any]:
    """Return contents, kit, service, way, both places, day, limits and tolerances of a box.

    The only query is for the closures of its carrier, unless `closures` (by carrier) is given.
    """
    return {
        "contents": [
            [item.order_line_id, item.order_line.offer.line_id, item.order_line.offer.stage, item.planned, item.cups]
            for item in parcel.items.all()
        ],
        "kit": None if parcel.kit is None else kit_facts(parcel.kit),
        "service": None if parcel.service is None else _service(parcel.service),
        "way": str(parcel.way),
        "origin": _spot(household.latitude, household.longitude, household.timezone),
        "destination": _address(parcel.order.address),
        "post_on": None if parcel.post_on is None else parcel.post_on.isoformat(),
        "closures": _closures(parcel, closures),
        "limits": _limits(species_in(parcel)),
        "tolerance": [float(household.comfort_tolerance), float(household.hard_tolerance)],
        "model": MODEL,
    }


def species_in(parcel: Parcel) -> list[Species]:
    """Return the species in a box, each once."""
    return list(
        {
            item.order_line.offer.line.species_id: item.order_line.offer.line.species for item in parcel.items.all()
        }.values()
    )


def cups_in(parcel: Parcel) -> int:
    """Return how many cups a box holds, at least one."""
    return max(1, sum(item.cups for item in parcel.items.all()))


def kit_facts(kit: Kit) -> list[Any]:
    """Return what the heat model knows about a kit; the name is not part of it."""
    leak = [kit.leak_factor, kit.measured_sd_ln]
    return [kit.pk, kit.inner_m, kit.layers, kit.packs, kit.ballast_kg, leak, kit.air_changes_h]


def _service(service: Service) -> list[Any]:
    timing, way = service_timing(service), service_template(service)
    clocks = [service.cut_off, service.delivers_from, service.delivers_until]
    return [
        service.pk,
        timing.usual_days,
        list(timing.delay_shares),
        [f"{clock:%H:%M}" for clock in clocks],
        float(service.doorstep_hours),
        [f"{way.truck_at:%H:%M}", way.van_h, way.hub_c, way.outside_share, *way.step_sun],
    ]


def _closures(parcel: Parcel, by_carrier: Mapping[str, Iterable[date]] | None) -> list[str]:
    """Return the days of a box's journey, delays included, on which its carrier is closed."""
    if parcel.service is None or parcel.post_on is None:
        return []
    carrier, timing = parcel.service.carrier, service_timing(parcel.service)
    shut = carrier_closures(carrier) if by_carrier is None or carrier not in by_carrier else tuple(by_carrier[carrier])
    planned = after_working_days(parcel.post_on, timing.latest_days, shut)
    last = max(planned, *(delivery.on for delivery in delivery_days(timing, parcel.post_on, shut)))
    return [day.isoformat() for day in sorted(shut) if parcel.post_on <= day <= last]


def _spot(latitude: Any, longitude: Any, timezone: str) -> list[Any] | None:
    return None if latitude is None or longitude is None else [float(latitude), float(longitude), timezone]


def _address(address: Address | None) -> list[Any] | None:
    return None if address is None else _spot(address.latitude, address.longitude, address.timezone)


def _limits(kinds: list[Species]) -> list[float] | None:
    try:
        limits: Limits = departure_rules.box_limits(kinds)
    except departure_rules.DepartureRefused:
        return None
    return [limits.low_c, limits.high_c, limits.hours_allowed, limits.hard_low_c, limits.hard_high_c]
