"""Read the book of rules and permits once, then ask it about any number of orders and boxes."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date

from breeder.carriers.models import CarrierRule, MovementRule, Permit, Service
from breeder.core.compliance import acceptance, movement
from breeder.core.compliance.acceptance import Carriage, CarriageRule
from breeder.core.compliance.facts import Animal, HeldPermit, Movement, Rule, RulebookAnswer
from breeder.core.compliance.regions import address_region, region_name
from breeder.people.models import Address
from breeder.species.classification import covering_taxa, is_determined, known_taxa
from breeder.species.models import Species

NOWHERE = "Where it goes is not known yet, so no rule could be asked. Give the order an address."


@dataclass(frozen=True)
class RuleBook:
    """All rules and permits on record, and the region this household sends from."""

    home: str
    rules: tuple[Rule, ...]
    permits: tuple[HeldPermit, ...]
    carries: tuple[CarriageRule, ...]
    # Earlier answers: many boxes hold the same animals and go to the same state on the same day.
    answers: dict[tuple[int, Movement | Carriage], RulebookAnswer] = field(default_factory=dict, compare=False)

    def ask(self, species: Species, way: Movement) -> RulebookAnswer:
        """Return the rules on a species going one way; each answer is computed once."""
        if not any(permit.person_id == way.person_id for permit in self.permits):
            way = replace(way, person_id=0)  # people without a permit share one answer
        key: tuple[int, Movement | Carriage] = (species.pk, way)
        if key not in self.answers:
            self.answers[key] = movement.movement_answer(plain_animal(species), way, self.rules, self.permits)
        return self.answers[key]

    def ask_carrier(self, species: Species, carriage: Carriage) -> RulebookAnswer:
        """Return the rules on a carrier taking a species; each answer is computed once."""
        key: tuple[int, Movement | Carriage] = (species.pk, carriage)
        if key not in self.answers:
            self.answers[key] = acceptance.carriage_answer(plain_animal(species), carriage, self.carries)
        return self.answers[key]


def read_rules(home: str) -> RuleBook:
    """Return the whole book in three queries."""
    return RuleBook(
        home=home,
        rules=tuple(plain_rule(row) for row in MovementRule.objects.all()),
        permits=tuple(plain_permit(row) for row in Permit.objects.all()),
        carries=tuple(plain_carrier_rule(row) for row in CarrierRule.objects.all()),
    )


def plain_rule(row: MovementRule) -> Rule:
    """Return a movement rule as a plain value."""
    return Rule(
        taxon=row.taxon,
        origin=row.origin,
        destination=row.destination,
        effect=row.effect,
        citation=row.citation,
        authority=row.authority,
        permit_kind=row.permit_kind,
        conditions=row.conditions,
        across_only=row.across_only,
        verified=row.verified,
        checked_on=row.checked_on,
        recheck_on=row.recheck_on,
        pk=row.pk,
    )


def plain_permit(row: Permit) -> HeldPermit:
    """Return a permit as a plain value."""
    return HeldPermit(
        number=row.number,
        issuer=row.issuer,
        kind=row.kind,
        taxa=tuple(row.taxa),
        origins=tuple(row.origins),
        destinations=tuple(row.destinations),
        direction=row.direction,
        valid_from=row.valid_from,
        valid_until=row.valid_until,
        person_id=row.person_id,
        conditions=row.conditions,
    )


def plain_carrier_rule(row: CarrierRule) -> CarriageRule:
    """Return a carrier's rule as a plain value."""
    return CarriageRule(
        carrier=row.carrier,
        service_id=row.service_id,
        taxon=row.taxon,
        takes=row.takes,
        citation=row.citation,
        season_from=row.season_from,
        season_until=row.season_until,
        most_days=row.most_days,
        domestic_only=row.domestic_only,
        marking=row.marking,
        conditions=row.conditions,
        verified=row.verified,
        checked_on=row.checked_on,
        recheck_on=row.recheck_on,
    )


def covers_nothing(taxon: str) -> bool:
    """Return whether a name is neither a taxon of a species in the book nor a known higher taxon: perhaps a typo."""
    named = {name.lower() for species in Species.objects.all() for name in covering_taxa(species)}
    return bool(taxon) and taxon.lower() not in named | {name.lower() for name in known_taxa()}


def plain_animal(species: Species) -> Animal:
    """Return a species as a plain value, with every taxon that covers it."""
    return Animal(str(species), covering_taxa(species), is_determined(species))


def ask_way(
    book: RuleBook, species: Iterable[Species], address: Address | None, on: date, person_id: int
) -> RulebookAnswer:
    """Return the rules on these species going to an address on a day."""
    if address is None:
        return RulebookAnswer(questions=(NOWHERE,))
    way = Movement(book.home, address_region(address.country, address.region), on, person_id)
    answer = RulebookAnswer()
    for each in _distinct(species):
        answer += book.ask(each, way)
    return _shortened(answer, way)


def ask_carrier(
    book: RuleBook, species: Iterable[Species], service: Service, address: Address | None, on: date | None
) -> RulebookAnswer:
    """Return the rules on a service carrying these species to an address; without a day, seasons are ignored."""
    carriage = _carriage(book, service, address, on)
    answer = RulebookAnswer()
    for each in _distinct(species):
        answer += book.ask_carrier(each, carriage)
    return answer


def requested_markings(book: RuleBook, species: Iterable[Species], service: Service) -> tuple[str, ...]:
    """Return the markings that a service's carrier wants on a box with these species, each once."""
    carriage = _carriage(book, service, None, None)
    animals = [plain_animal(each) for each in _distinct(species)]
    markings = [text for animal in animals for text in acceptance.markings(animal, carriage, book.carries)]
    return tuple(dict.fromkeys(markings))


def _carriage(book: RuleBook, service: Service, address: Address | None, on: date | None) -> Carriage:
    return Carriage(
        carrier=service.carrier,
        service_id=service.pk,
        called=str(service),
        latest_days=service.latest_days,
        origin=book.home,
        destination=address_region(address.country, address.region) if address else "",
        on=on,
    )


def _distinct(species: Iterable[Species]) -> list[Species]:
    return list({each.pk: each for each in species}.values())


def _shortened(answer: RulebookAnswer, way: Movement) -> RulebookAnswer:
    """Merge the sentences of several species without a rule into one."""
    tail = f" into {region_name(way.destination)}."
    start = "Nothing is on record for "
    without_rule = [text for text in answer.questions if text.startswith(start) and text.endswith(tail)]
    names = [text[len(start) : -len(tail)] for text in without_rule]
    if len(names) < 2:
        return answer
    rest = [text for text in answer.questions if not text.startswith(start)]
    together = f"{start}{', '.join(names[:-1])} and {names[-1]}{tail}"
    return RulebookAnswer(answer.blocks, (together, *rest), answer.notes, answer.permits)
