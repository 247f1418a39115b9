"""Decide whether a carrier takes an animal, in this season and on a journey of this length, and write why.

Of the rules about a carrier, a service and an animal, the most specific ones count (a service before its carrier, a
species before its order); if neither is narrower, all of them count. An unverified example only raises a question.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from breeder.core.compliance.facts import Animal, RulebookAnswer, Takes
from breeder.core.compliance.regions import country_part
from breeder.core.days import day_text

TAKES_TEXT = {Takes.YES: "takes", Takes.AGREEMENT: "takes only under an agreement", Takes.NO: "does not take"}
LEAP_YEAR = 2000  # a year that has a 29 February


@dataclass(frozen=True)
class Carriage:
    """Which service carries the box, from where to where, and on which day (None while undecided)."""

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
        ends = (country_part(self.origin), country_part(self.destination))
        return all(ends) and ends[0] != ends[1]


@dataclass(frozen=True)
class CarriageRule:
    """What a carrier says about carrying a taxon."""

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
    def source_text(self) -> str:
        """Return 'Terms of carriage, looked up on 3 March 2026'."""
        looked = f", looked up on {self.checked_on:%-d %B %Y}" if self.verified and self.checked_on else ""
        return f"{self.citation}{looked}"


def carriage_answer(animal: Animal, carriage: Carriage, rules: Sequence[CarriageRule]) -> RulebookAnswer:
    """Return what the rulebook says about a carrier taking an animal."""
    speaking = [rule for rule in rules if _applies(rule, animal, carriage)]
    verified = _most_specific([rule for rule in speaking if rule.verified], animal)
    answer = RulebookAnswer()
    for rule in verified or _most_specific([rule for rule in speaking if not rule.verified], animal):
        answer += _rule_answer(rule, animal, carriage)
    if not verified:
        nothing = f"There is no record of whether {carriage.carrier} takes {animal.name}. Ask the carrier."
        answer = RulebookAnswer(questions=(nothing,)) + answer
    return answer


def markings(animal: Animal, carriage: Carriage, rules: Sequence[CarriageRule]) -> tuple[str, ...]:
    """Return what the carrier wants written on the box, by rules that the keeper has looked up."""
    verified = [rule for rule in rules if rule.verified and _applies(rule, animal, carriage)]
    return tuple(rule.marking for rule in _most_specific(verified, animal) if rule.marking)


def in_season(day: date, first: str, last: str) -> bool:
    """Return whether a day is in a season given by two month-days; a season may run over the new year."""
    if not first or not last:
        return True
    now = f"{day:%m-%d}"
    return first <= now <= last if first <= last else now >= first or now <= last


def _applies(rule: CarriageRule, animal: Animal, carriage: Carriage) -> bool:
    of_service = rule.service_id in (None, carriage.service_id)
    return of_service and rule.carrier.lower() == carriage.carrier.lower() and animal.steps_to(rule.taxon) is not None


def _most_specific(rules: Sequence[CarriageRule], animal: Animal) -> list[CarriageRule]:
    def narrowness(rule: CarriageRule) -> tuple[int, int]:
        return (-(animal.steps_to(rule.taxon) or 0), int(rule.service_id is not None))

    def beaten(rule: CarriageRule) -> bool:
        narrow = narrowness(rule)
        return any(
            narrowness(other) != narrow
            and all(theirs >= mine for theirs, mine in zip(narrowness(other), narrow, strict=True))
            for other in rules
        )

    return [rule for rule in rules if not beaten(rule)]


def _rule_answer(rule: CarriageRule, animal: Animal, carriage: Carriage) -> RulebookAnswer:
    faults = _faults(rule, animal, carriage)
    terms = f" {rule.conditions.rstrip('.')}." if rule.conditions else ""
    if not rule.verified:
        sentences = faults or [f"{carriage.called} {TAKES_TEXT[Takes(rule.takes)]} {animal.name}"]
        return RulebookAnswer(
            questions=tuple(
                f"An unverified example says: {sentence}. {rule.source_text}.{terms}" for sentence in sentences
            )
        )
    if faults:
        remedy = "Choose another carrier, service or day."
        return RulebookAnswer(blocks=tuple(f"{sentence}: {rule.source_text}.{terms} {remedy}" for sentence in faults))
    notes = [f"Mark the box “{rule.marking}”: {carriage.carrier} asks for it."] if rule.marking else []
    if rule.takes == Takes.AGREEMENT or rule.conditions:
        notes.append(f"{carriage.called} {TAKES_TEXT[Takes(rule.takes)]} {animal.name}: {rule.source_text}.{terms}")
    if rule.recheck_on is not None and carriage.on is not None and rule.recheck_on < carriage.on:
        due = f"{rule.recheck_on:%-d %B %Y}"
        old = f"What {carriage.carrier} takes was due to be looked up again by {due}. Ask the carrier."
        return RulebookAnswer(questions=(old,), notes=tuple(notes))
    return RulebookAnswer(notes=tuple(notes))


def _faults(rule: CarriageRule, animal: Animal, carriage: Carriage) -> list[str]:
    """Return how a box breaks a carrier's rule, one sentence each."""
    faults = []
    if rule.takes == Takes.NO:
        faults.append(f"{carriage.called} does not take {animal.name} alive")
    if carriage.on is not None and not in_season(carriage.on, rule.season_from, rule.season_until):
        season = f"from {month_day_text(rule.season_from)} to {month_day_text(rule.season_until)}"
        faults.append(
            f"{carriage.called} takes {animal.name} only {season}, and it would leave on "
            f"{day_text(carriage.on, this_year=carriage.on.year)}"
        )
    if rule.most_days is not None and carriage.latest_days > rule.most_days:
        enough = "1 working day is" if rule.most_days == 1 else f"{rule.most_days} working days are"
        faults.append(
            f"{carriage.called} takes {animal.name} only where {enough} enough, and it is planned for "
            f"{carriage.latest_days}"
        )
    if rule.domestic_only and carriage.leaves_country:
        faults.append(f"{carriage.called} takes {animal.name} only within the country")
    return faults


def month_day_text(text: str) -> str:
    """Return '1 March' for '03-01'."""
    return f"{date.fromisoformat(f'{LEAP_YEAR}-{text}'):%-d %B}"
