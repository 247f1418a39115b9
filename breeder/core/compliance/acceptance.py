"""Does this carrier take such an animal at all, in this season, for so long a way? Pure: facts in, sentences out.

Of the rules that speak of a carrier, a service and an animal the most specific count (a service before its carrier, a
species before its order); where neither is narrower, all of them do. An example that nobody has looked up only asks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.compliance.facts import Animal, Answer, Takes
from breeder.core.compliance.regions import country_of
from breeder.core.days import day_text

TAKES_SAID = {Takes.YES: "takes", Takes.AGREEMENT: "takes only under an agreement", Takes.NO: "does not take"}
LEAP_YEAR = 2000  # so that 29 February can be said as a day of any year


@dataclass(frozen=True)
class Carriage:
    """By which service, from where to where, and on which day (None while it is open)."""

    carrier: str
    service_id: int | None
    called: str
    latest_days: int
    origin: str
    destination: str
    on: date | None = None

    @property
    def leaves_country(self) -> bool:
        """Return whether both countries are known and differ."""
        ends = (country_of(self.origin), country_of(self.destination))
        return all(ends) and ends[0] != ends[1]


@dataclass(frozen=True)
class Carries:
    """What a carrier says of carrying a taxon."""

    carrier: str
    service_id: int | None
    taxon: str
    takes: str
    citation: str
    season_from: str = ""
    season_until: str = ""
    most_days: int | None = None
    domestic_only: bool = False
    marking: str = ""
    conditions: str = ""
    verified: bool = True
    checked_on: date | None = None
    recheck_on: date | None = None

    @property
    def said_where(self) -> str:
        """Return 'Terms of carriage, looked up on 3 March 2026'."""
        looked = f", looked up on {self.checked_on:%-d %B %Y}" if self.verified and self.checked_on else ""
        return f"{self.citation}{looked}"


def does_take(animal: Animal, carriage: Carriage, rules: Sequence[Carries]) -> Answer:
    """Return what is on record of a carrier taking an animal."""
    speaking = [rule for rule in rules if _applies(rule, animal, carriage)]
    own = _most_specific([rule for rule in speaking if rule.verified], animal)
    answer = Answer()
    for rule in own or _most_specific([rule for rule in speaking if not rule.verified], animal):
        answer += _said(rule, animal, carriage)
    if not own:
        nothing = f"Nothing is on record of whether {carriage.carrier} takes {animal.name}. Ask the carrier."
        answer = Answer(questions=(nothing,)) + answer
    return answer


def markings(animal: Animal, carriage: Carriage, rules: Sequence[Carries]) -> tuple[str, ...]:
    """Return what the carrier asks to be written on a box, by rules that the keeper has looked up."""
    own = [rule for rule in rules if rule.verified and _applies(rule, animal, carriage)]
    return tuple(rule.marking for rule in _most_specific(own, animal) if rule.marking)


def in_season(day: date, first: str, last: str) -> bool:
    """Return whether a day lies in a season given as two month-days; a season may pass over the new year."""
    if not first or not last:
        return True
    now = f"{day:%m-%d}"
    return first <= now <= last if first <= last else now >= first or now <= last


def _applies(rule: Carries, animal: Animal, carriage: Carriage) -> bool:
    of_service = rule.service_id in (None, carriage.service_id)
    return of_service and rule.carrier.lower() == carriage.carrier.lower() and animal.place_of(rule.taxon) is not None


def _most_specific(rules: Sequence[Carries], animal: Animal) -> list[Carries]:
    def narrowness(rule: Carries) -> tuple[int, int]:
        return (-(animal.place_of(rule.taxon) or 0), int(rule.service_id is not None))

    def beaten(rule: Carries) -> bool:
        own = narrowness(rule)
        return any(
            narrowness(other) != own
            and all(theirs >= mine for theirs, mine in zip(narrowness(other), own, strict=True))
            for other in rules
        )

    return [rule for rule in rules if not beaten(rule)]


def _said(rule: Carries, animal: Animal, carriage: Carriage) -> Answer:
    faults = _faults(rule, animal, carriage)
    terms = f" {rule.conditions.rstrip('.')}." if rule.conditions else ""
    if not rule.verified:
        said = faults or [f"{carriage.called} {TAKES_SAID[Takes(rule.takes)]} {animal.name}"]
        return Answer(questions=tuple(f"An unverified example says: {one}. {rule.said_where}.{terms}" for one in said))
    if faults:
        remedy = "Choose another carrier, service or day."
        return Answer(blocks=tuple(f"{one}: {rule.said_where}.{terms} {remedy}" for one in faults))
    notes = [f"Mark the box “{rule.marking}”: {carriage.carrier} asks for it."] if rule.marking else []
    if rule.takes == Takes.AGREEMENT or rule.conditions:
        notes.append(f"{carriage.called} {TAKES_SAID[Takes(rule.takes)]} {animal.name}: {rule.said_where}.{terms}")
    if rule.recheck_on is not None and carriage.on is not None and rule.recheck_on < carriage.on:
        old = (
            f"What {carriage.carrier} takes was to be looked up again by {rule.recheck_on:%-d %B %Y}. Ask the carrier."
        )
        return Answer(questions=(old,), notes=tuple(notes))
    return Answer(notes=tuple(notes))


def _faults(rule: Carries, animal: Animal, carriage: Carriage) -> list[str]:
    """Return what of a carrier's rule this box breaks."""
    found = []
    if rule.takes == Takes.NO:
        found.append(f"{carriage.called} does not take {animal.name} alive")
    if carriage.on is not None and not in_season(carriage.on, rule.season_from, rule.season_until):
        season = f"from {month_day(rule.season_from)} to {month_day(rule.season_until)}"
        found.append(
            f"{carriage.called} takes {animal.name} only {season}, and it would leave on "
            f"{day_text(carriage.on, this_year=carriage.on.year)}"
        )
    if rule.most_days is not None and carriage.latest_days > rule.most_days:
        enough = "1 working day is" if rule.most_days == 1 else f"{rule.most_days} working days are"
        found.append(
            f"{carriage.called} takes {animal.name} only where {enough} enough, and it is planned for "
            f"{carriage.latest_days}"
        )
    if rule.domestic_only and carriage.leaves_country:
        found.append(f"{carriage.called} takes {animal.name} only within the country")
    return found


def month_day(text: str) -> str:
    """Return '1 March' for '03-01'."""
    return f"{date.fromisoformat(f'{LEAP_YEAR}-{text}'):%-d %B}"
