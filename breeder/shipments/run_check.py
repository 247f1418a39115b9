"""Run a check: read the book's rows into the core's values and try every kit. Reads only."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from django.utils import timezone

from breeder.base.dates import weekday_said
from breeder.base.models import Setting
from breeder.carriers.models import Service
from breeder.carriers.queries import carrier_closures, service_day, service_timing, services
from breeder.core.thermal.kit import BadKit
from breeder.core.thermal.verdict import GO, NO_GO, NOT_DECIDED, Tolerance
from breeder.core.transit import box_trials, rule_of_thumb, source_conflicts, trial_result
from breeder.core.transit.delivery_days import delivery_days
from breeder.core.transit.exposure import service_template
from breeder.core.transit.itinerary import HOUR, ServiceTimes, needed_span
from breeder.core.transit.place_air import ONE_DAY, Ends
from breeder.core.transit.results import BoxQuestion
from breeder.core.transit.source_conflicts import Alternative, JourneyEnd
from breeder.core.transit.trial_result import AnimalNeeds, Candidate, Journey, KitTrial, Trial
from breeder.shipments import legal_block
from breeder.shipments.check_inputs import cups_in, species_in
from breeder.shipments.check_json import CheckResult, kit_note, kit_odds
from breeder.shipments.missing_hours import missing_texts, usual_weather_texts
from breeder.shipments.models import Kit, Parcel
from breeder.shipments.queries import parcels as parcel_queries
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import refuse_dry_ice
from breeder.shipments.thermal_kit import heat_kit
from breeder.species.models import Species
from breeder.weather.models import Place
from breeder.weather.queries import ReceivedForecasts, stand_in_texts

MEMBERS = 200  # odds of 1 in 20 are then known to 1.5 hundredths
SCREENING_MEMBERS = 48  # for other days: the first members of the same draws

# Longer than any journey that begins within the horizon.
LONGEST_JOURNEY = timedelta(days=11)


def refuse_unless_ready(parcel: Parcel, household: Setting) -> None:
    """Raise DepartureRefused naming everything that a check still lacks."""
    lacks = []
    if not parcel.items.all():
        lacks.append("it holds nothing yet: plan its contents")
    if parcel.service is None:
        lacks.append("it has no service: choose one")
    if parcel.post_on is None:
        lacks.append("it has no day: choose one")
    elif parcel.post_on < timezone.localdate():
        lacks.append(f"its day, {weekday_said(parcel.post_on)}, is past: choose a new one")
    elif parcel.service is not None and (why_not := service_day(parcel.service, parcel.post_on).why_not):
        lacks.append(f"{parcel.service} takes no box on {weekday_said(parcel.post_on)} ({why_not}): choose a new day")
    if parcel.order.address is None:
        lacks.append("its order has no address: add one to the order")
    if household.latitude is None or household.longitude is None:
        lacks.append("your own place is not known: give its postcode, or latitude and longitude, in the settings")
    if not parcel_queries.kits(active=True).exists():
        lacks.append("no kit is written down: take the example kits or write your own")
    if lacks:
        raise departure_rules.DepartureRefused(
            f"Box {parcel.number} cannot be checked: {'; '.join(lacks)}.", code="not_ready"
        )


def check(parcel: Parcel, household: Setting, places: tuple[Place, Place], now: datetime) -> CheckResult:
    """Return the result of a check: every kit in stock tried in order of cost, the chosen one first."""
    box = _BoxTrials(parcel, household, places, now)
    journey = box.journey(parcel.service, parcel.post_on)
    sides = box.sides(journey)
    alternatives = box.alternatives(journey, sides)
    trial = source_conflicts.worst_trial(alternatives)
    chosen = trial.of_kit(parcel.kit_id) or trial.best or trial.calmest
    decisive = source_conflicts.decisive_alternative(alternatives, chosen)
    trial, ends = replace(trial, around=decisive.trial.around), decisive.ends
    missing = (*missing_texts(trial.cases, ends), *usual_weather_texts(places, trial.cases, ends, household))
    wanted = {at for case in trial.cases for at in case.times}
    opinion = trial_result.second_opinion(trial.cases, ends, _band(species_in(parcel)))
    result = CheckResult(
        trial=trial,
        chosen=chosen,
        ends=ends,
        animals=box.animals,
        missing=missing,
        opinion=opinion,
        opinion_compared=""
        if opinion is None
        else rule_of_thumb.comparison_text(opinion.word, chosen.verdict, to_counter=journey.to_counter),
        next_day=None,
        helps=(),
        sources=sum(side.sources for side in sides),
        rivalries=tuple(rivalry for side in sides for rivalry in side.rivalries),
        spread=sum(side.hours_with("spread", wanted) for side in sides),
        anchors=sum(side.hours_with("anchored", wanted) for side in sides),
        stand_ins=tuple(text for place in dict.fromkeys(places) for text in stand_in_texts(place, household, now)),
        other_way=_other_way(box, chosen),
    )
    # Other days and services matter only if no kit may go; where hours are missing they would be undecided too.
    if chosen.outcome.verdict != NO_GO or trial.best is not None:
        return result
    next_day, looked_until = _next_day(box)
    return replace(
        result,
        next_day=next_day,
        no_day=None if next_day else {"until": looked_until.isoformat() if looked_until else None},
        helps=tuple(_helps(box)),
    )


def box_journey(parcel: Parcel, service: Service, post_on: date, *, to_counter: bool) -> Journey:
    """Return the journey of a box by a service on a day."""
    times = ServiceTimes(
        service.cut_off,
        service.delivers_from,
        service.delivers_until,
        float(service.doorstep_hours),
        service_template(service),
    )
    deliveries = delivery_days(service_timing(service), post_on, carrier_closures(service.carrier))
    return Journey(post_on, deliveries, times, to_counter)


def box_animals(kinds: list[Species], household: Setting) -> AnimalNeeds:
    """Return what the animals of a box tolerate, and the odds that the household allows."""
    tolerance = Tolerance(float(household.comfort_tolerance), float(household.hard_tolerance))
    return AnimalNeeds(departure_rules.box_limits(kinds, fahrenheit=household.fahrenheit), tolerance)


def candidates_for(parcel: Parcel) -> list[Candidate]:
    """Return the kits to try: those in use that the shelf can supply, by cost, always with the chosen one first."""
    rows = list(parcel_queries.kits(active=True))
    if parcel.kit is not None and parcel.kit not in rows:
        rows.append(parcel.kit)
    short = parcel_queries.short_supplies([kit.pk for kit in rows])
    rows.sort(key=lambda kit: (kit.pk != parcel.kit_id, kit.cost, kit.name))
    candidates = []
    for kit in rows:
        is_chosen = kit.pk == parcel.kit_id
        if short[kit.pk] and not is_chosen:
            continue
        if candidate := _candidate(kit, cups_in(parcel), "; ".join(short[kit.pk]), is_chosen=is_chosen):
            candidates.append(candidate)
    if not candidates:
        raise departure_rules.DepartureRefused(
            f"No kit can be tried for box {parcel.number}: each is too small for {cups_in(parcel)} cups, or the shelf "
            "lacks a part of it. Count your supplies, or write down a larger kit.",
            code="no_kit",
        )
    return candidates


def _candidate(kit: Kit, cups: int, note: str, *, is_chosen: bool) -> Candidate | None:
    refuse_dry_ice(kit, [part.supply.name for part in kit.parts.all()])
    try:
        return Candidate(kit.pk, kit.name, float(kit.cost), heat_kit(kit, cups), note)
    except BadKit as fault:
        if is_chosen:
            raise departure_rules.DepartureRefused(
                f"{kit} cannot hold this box: {fault.sentence} Choose another kit.", code="bad_kit"
            ) from None
        return None


class _BoxTrials:
    """A box with what all its trials share: kits, animals, draws, and the hours of both places, read once."""

    def __init__(self, parcel: Parcel, household: Setting, places: tuple[Place, Place], now: datetime) -> None:
        self.parcel, self.now = parcel, now
        self.animals = box_animals(species_in(parcel), household)
        self.candidates = tuple(candidates_for(parcel))
        self.seed = departure_rules.draw_seed(parcel.number, parcel.service_id, parcel.post_on)
        self.zones = tuple(place.zone for place in places)
        read = {place.pk: ReceivedForecasts.since(place, now - departure_rules.FORECAST_LAPSES) for place in places}
        self.received = tuple(read[place.pk] for place in places)

    @property
    def to_counter(self) -> bool:
        """Return whether the box is held at a counter."""
        return bool(self.parcel.way == Parcel.Way.COUNTER)

    def journey(self, service: Service, post_on: date, *, other_way: bool = False) -> Journey:
        """Return the box's journey by a service on a day."""
        return box_journey(self.parcel, service, post_on, to_counter=self.to_counter != other_way)

    def sides(self, journey: Journey) -> tuple[JourneyEnd, JourneyEnd]:
        """Return both ends of a journey with every source that disagrees, with a day before and after for the sun."""
        first, last = needed_span(trial_result.journey_cases(journey, *self.zones))
        span = (first - ONE_DAY, last + ONE_DAY)
        wanted = {first + step * HOUR for step in range(int((last - first) / HOUR) + 1)}
        origin, destination = (_side(received, span, wanted) for received in self.received)
        return origin, destination

    def question(self, journey: Journey, readings: Sequence[Ends], candidates: Sequence[Candidate] = ()) -> BoxQuestion:
        """Return the question for the core; with all kits unless some are given."""
        airs = tuple(ends.airs for ends in readings)
        kits = tuple(candidates) or self.candidates
        return BoxQuestion(self.parcel.number, journey, airs, kits, self.animals, self.seed)

    def alternatives(
        self,
        journey: Journey,
        sides: tuple[JourneyEnd, JourneyEnd],
        candidates: Sequence[Candidate] = (),
        members: int | None = None,
    ) -> list[Alternative]:
        """Return the result of every kit by each reading of both ends."""
        readings = source_conflicts.readings(*sides)
        trials = box_trials.try_readings(self.question(journey, readings, candidates), members or MEMBERS)
        return [Alternative(ends, trial) for ends, trial in zip(readings, trials, strict=True)]

    def trial(
        self,
        journey: Journey,
        sides: tuple[JourneyEnd, JourneyEnd],
        candidates: Sequence[Candidate] = (),
        members: int | None = None,
    ) -> Trial:
        """Return the result of every kit in the worst of the readings."""
        return source_conflicts.worst_trial(self.alternatives(journey, sides, candidates, members))

    def may_go(self, journey: Journey, sides: tuple[JourneyEnd, JourneyEnd]) -> bool:
        """Return whether any kit goes in the board's quick box_trials, over the first members of the same draws."""
        asked = self.question(journey, source_conflicts.readings(*sides))
        return bool(box_trials.try_boxes([asked], members=SCREENING_MEMBERS)[0].going)


def _side(received: ReceivedForecasts, span: tuple[datetime, datetime], wanted: set[datetime]) -> JourneyEnd:
    freshest = received.hours(*span)
    kinds = received.kinds
    if len(kinds) < 2:
        return replace(source_conflicts.journey_end(freshest, [], wanted), sources=len(freshest.sources))
    by_source = [received.hours(*span, kind) for kind in kinds]
    return source_conflicts.journey_end(freshest, [hours for hours in by_source if hours.sources], wanted)


def _band(kinds: list[Species]) -> str:
    has_tropical = any(species.band == Species.Band.TROPICAL for species in kinds)
    return str(Species.Band.TROPICAL if has_tropical else Species.Band.TEMPERATE)


def _next_day(box: _BoxTrials) -> tuple[dict[str, Any] | None, date | None]:
    """Return the first later shipping day on which some kit may go, and the last day on which none may.

    The search ends where the hours end.
    """
    rulebook, looked_until, parcel = legal_block.current_rules(), None, box.parcel
    for day in parcel_queries.usable_days(parcel.service, timezone.localdate(box.now)):
        if day <= parcel.post_on or legal_block.ask_box(rulebook, parcel, day).blocks:
            continue
        journey = box.journey(parcel.service, day)
        sides = box.sides(journey)
        if box.may_go(journey, sides) and (best := box.trial(journey, sides, members=SCREENING_MEMBERS).best):
            return {"on": day.isoformat(), **_offer(best)}, looked_until
        on_time = trial_result.journey_cases(journey, *box.zones)[:1]
        if missing_texts(on_time, Ends(*(side.freshest for side in sides))):
            break
        looked_until = day
    return None, looked_until


def _other_way(box: _BoxTrials, chosen: KitTrial) -> dict[str, Any] | None:
    """Return the odds of the same day by the other way of delivery: a counter instead of a doorstep, or the reverse.

    In the same kit if it may go now, else in the best of all kits, so that the odds can be compared.
    """
    parcel = box.parcel
    offered = parcel.service.to_doorstep if box.to_counter else parcel.service.to_counter
    if not offered or chosen.outcome.verdict == NOT_DECIDED:
        return None
    same = [chosen.candidate] if chosen.outcome.verdict == GO else []
    journey = box.journey(parcel.service, parcel.post_on, other_way=True)
    trial = box.trial(journey, box.sides(journey), same)
    way = Parcel.Way.DOORSTEP if box.to_counter else Parcel.Way.COUNTER
    return {"way": str(way), **_offer(trial.best or trial.calmest)}


def _helps(box: _BoxTrials) -> Iterator[dict[str, Any]]:
    """Yield the faster services of the same day, each with its own odds."""
    rulebook, parcel = legal_block.current_rules(), box.parcel
    for service in services().filter(usual_days__lt=parcel.service.usual_days):
        if legal_block.ask_box(rulebook, parcel, parcel.post_on, service=service).blocks:
            continue
        offers_way = service.to_counter if box.to_counter else service.to_doorstep
        if offers_way and service_day(service, parcel.post_on).usable:
            journey = box.journey(service, parcel.post_on)
            trial = box.trial(journey, box.sides(journey))
            yield {"what": f"{service} instead of {parcel.service}", **_offer(trial.best or trial.calmest)}


def _offer(tried: KitTrial) -> dict[str, Any]:
    return {
        "kit_id": tried.candidate.kit_id,
        "kit": tried.candidate.name,
        "note": kit_note(tried),
        "verdict": str(tried.verdict),
        **kit_odds(tried.outcome),
    }
