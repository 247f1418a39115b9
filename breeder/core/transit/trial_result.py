"""Define a journey to try kits on, and the result of every kit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from breeder.core.thermal.ensemble_draws import Draws
from breeder.core.thermal.evaluate_kit import AmbientCase, Band, KitOffer, best_offer, payload_band
from breeder.core.thermal.kit import ThermalKit
from breeder.core.thermal.kit_risk import KitRisk
from breeder.core.thermal.verdict import Limits, Tolerance, with_pack
from breeder.core.transit import rule_of_thumb
from breeder.core.transit.delivery_days import Delivery
from breeder.core.transit.itinerary import DelayCase, ServiceTimes, delay_cases
from breeder.core.transit.place_air import ONE_DAY, Ends
from breeder.core.transit.weather_hours import Hours

# Temperature of the room where boxes are packed; the draws spread it by 2 K (common practice, no source).
START_C = 21.0


@dataclass(frozen=True)
class Candidate:
    """A kit that could be used for this box."""

    kit_id: int
    name: str
    cost: float
    kit: ThermalKit
    note: str = ""

    @property
    def has_pack(self) -> bool:
        return bool(self.kit.packs)


@dataclass(frozen=True)
class Journey:
    """A box that leaves on one day, by one service, for a doorstep or a counter."""

    post_on: date
    deliveries: tuple[Delivery, ...]
    times: ServiceTimes
    to_counter: bool


@dataclass(frozen=True)
class AnimalNeeds:
    """What the animals tolerate, and which odds the keeper accepts."""

    limits: Limits
    tolerance: Tolerance


@dataclass(frozen=True)
class KitTrial:
    """One kit with its result."""

    candidate: Candidate
    outcome: KitRisk
    is_barred: bool = False  # harsh weather and no pack: a No-go whatever the odds

    @property
    def verdict(self) -> str:
        return with_pack(self.outcome.verdict, has_pack=self.candidate.has_pack)


@dataclass(frozen=True)
class Trial:
    """All kits on one journey; `around` is the air around the box, case by case."""

    cases: tuple[DelayCase, ...]
    around: tuple[AmbientCase, ...]
    tried: tuple[KitTrial, ...]
    tolerance: Tolerance
    drawn: Draws

    @property
    def best(self) -> KitTrial | None:
        """Return the cheapest kit that goes easily, else the Go with the least strain; None if no kit may go."""
        offers = [KitOffer(each.candidate.name, each.candidate.cost, each.outcome) for each in self.tried]
        best = best_offer(offers, self.tolerance)
        return next((each for each, offer in zip(self.tried, offers, strict=True) if offer is best), None)

    @property
    def calmest(self) -> KitTrial:
        """Return the kit that fails least, to show its reason."""
        return min(
            self.tried, key=lambda each: (each.outcome.hard.failed + each.outcome.comfort.failed, each.candidate.cost)
        )

    def of_kit(self, kit_id: int | None) -> KitTrial | None:
        """Return the result for one kit, or None."""
        return next((each for each in self.tried if each.candidate.kit_id == kit_id), None)

    def band_inside(self, tried: KitTrial) -> Band:
        """Return how warm it is inside one kit on the on-time journey."""
        return payload_band(tried.candidate.kit, self.around[0], start_c=START_C, draws=self.drawn)


def journey_cases(journey: Journey, origin: ZoneInfo, destination: ZoneInfo) -> tuple[DelayCase, ...]:
    """Return the delay cases of a journey in the time zones of its ends."""
    return delay_cases(
        journey.post_on,
        journey.deliveries,
        journey.times,
        to_counter=journey.to_counter,
        origin=origin,
        destination=destination,
    )


def missing_indexes(hours: Hours, cases: Sequence[DelayCase]) -> list[int]:
    """Return the indexes in `hours.times` of hours that the cases need and no source gave."""
    wanted = {at for case in cases for at in case.times}
    return [index for index, at in enumerate(hours.times) if at in wanted and hours.c[index] is None]


def second_opinion(cases: Sequence[DelayCase], ends: Ends, band: str) -> rule_of_thumb.Opinion | None:
    """Return the rule of thumb for the air at both ends over the on-time journey and a day more; None without hours."""
    first, last = cases[0].times[0], cases[0].times[-1]
    known = [
        value
        for hours in (ends.origin, ends.destination)
        for at, value in zip(hours.times, hours.c, strict=True)
        if value is not None and first <= at <= last + ONE_DAY
    ]
    return rule_of_thumb.opinion(band, min(known), max(known)) if known else None
