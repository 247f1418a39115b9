"""The sums of a check, without the database: every kit tried on every way the journey can go."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import nan

from breeder.carriers.rules import Delivery
from breeder.core.transit.weather_hours import Hours
from breeder.dispatch import ambient, trade
from breeder.dispatch.ambient import Ends
from breeder.dispatch.legs import Case, ServiceTimes, Where, cases_of
from breeder.heat.kit import Kit as HeatKit
from breeder.heat.members import Draws
from breeder.heat.outcome import Outcome
from breeder.heat.risk import AmbientCase, Offer, best_of, try_kit
from breeder.heat.verdict import GO, NO_GO, Limits, Tolerance, with_pack

# The room in which boxes are packed; the draws spread it by 2 K (common practice, no source).
START_C = 21.0


@dataclass(frozen=True)
class Candidate:
    """A kit that could be used for this box."""

    kit_id: int
    name: str
    cost: float
    kit: HeatKit
    note: str = ""

    @property
    def has_pack(self) -> bool:
        return bool(self.kit.packs)


@dataclass(frozen=True)
class Journey:
    """A box on its way on one day, by one service, to a doorstep or a counter."""

    post_on: date
    deliveries: tuple[Delivery, ...]
    times: ServiceTimes
    to_counter: bool


@dataclass(frozen=True)
class Animals:
    """What the animals bear, and what odds the keeper allows."""

    limits: Limits
    tolerance: Tolerance


@dataclass(frozen=True)
class Tried:
    """One kit with what came of it."""

    candidate: Candidate
    outcome: Outcome
    is_barred: bool = False  # by harsh weather: a no-go for want of a pack, whatever its odds

    @property
    def verdict(self) -> str:
        return with_pack(self.outcome.verdict, has_pack=self.candidate.has_pack)


@dataclass(frozen=True)
class Trial:
    """All kits on one journey; `around` is what surrounds the box, case by case."""

    cases: tuple[Case, ...]
    around: tuple[AmbientCase, ...]
    tried: tuple[Tried, ...]
    tolerance: Tolerance

    @property
    def best(self) -> Tried | None:
        """Return the cheapest kit that goes easily, else the one that goes with least strain; None when none may."""
        offers = [Offer(one.candidate.name, one.candidate.cost, one.outcome) for one in self.tried]
        found = best_of(offers, self.tolerance)
        return next((one for one, offer in zip(self.tried, offers, strict=True) if offer is found), None)

    @property
    def calmest(self) -> Tried:
        """Return the kit that comes nearest to going, for the reason that is shown."""
        return min(
            self.tried, key=lambda one: (one.outcome.hard.failed + one.outcome.comfort.failed, one.candidate.cost)
        )

    def of_kit(self, kit_id: int | None) -> Tried | None:
        """Return what came of one kit."""
        return next((one for one in self.tried if one.candidate.kit_id == kit_id), None)


def try_journey(journey: Journey, candidates: Sequence[Candidate], ends: Ends, animals: Animals, drawn: Draws) -> Trial:
    """Return what comes of every kit on a journey, over all delay cases and members."""
    cases = journey_cases(journey, ends)
    around = tuple(ambient.around(case, ends, drawn) for case in cases)
    is_harsh = not journey.to_counter and trade.is_harsh(*air_at_ends(cases[0], ends))
    tried = []
    for candidate in candidates:
        found = try_kit(candidate.kit, around, animals.limits, animals.tolerance, start_c=START_C, draws=drawn)
        is_barred = is_harsh and not candidate.has_pack and found.verdict == GO
        tried.append(Tried(candidate, replace(found, verdict=NO_GO) if is_barred else found, is_barred))
    return Trial(cases, around, tuple(tried), animals.tolerance)


def air_at_ends(case: Case, ends: Ends) -> tuple[float, float]:
    """Return the lowest and highest air at either end while the box stands in it; NaN where no hour is known."""
    at_end = {Where.ORIGIN: ends.origin, Where.DESTINATION: ends.destination}
    known = {where: dict(zip(hours.times, hours.c, strict=True)) for where, hours in at_end.items()}
    stands = ((case.leg_at(at).where, at) for at in case.times)
    values = [known[where].get(at) for where, at in stands if where in known]
    found = [value for value in values if value is not None]
    return (min(found), max(found)) if found else (nan, nan)


def journey_cases(journey: Journey, ends: Ends) -> tuple[Case, ...]:
    """Return the delay cases of a journey on the clocks of its ends."""
    return cases_of(
        journey.post_on,
        journey.deliveries,
        journey.times,
        to_counter=journey.to_counter,
        origin=ends.origin.zone,
        destination=ends.destination.zone,
    )


def missing_at(hours: Hours, cases: Sequence[Case]) -> list[int]:
    """Return which of a place's hours the cases need and nobody has given, as places in `hours.times`."""
    wanted = {at for case in cases for at in case.times}
    return [index for index, at in enumerate(hours.times) if at in wanted and hours.c[index] is None]


def second_opinion(cases: Sequence[Case], ends: Ends, band: str) -> trade.Opinion | None:
    """Return the trade's rule on the air of both ends over the on-time journey and a day more; None without hours."""
    first, last = cases[0].times[0], cases[0].times[-1]
    known = [
        value
        for hours in (ends.origin, ends.destination)
        for at, value in zip(hours.times, hours.c, strict=True)
        if value is not None and first <= at <= last + ambient.ONE_DAY
    ]
    return trade.opinion(band, min(known), max(known)) if known else None
