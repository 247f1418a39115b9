"""May what is ordered go where it is ordered to? Asked of the book's rules when an order is taken and changed."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.queries import household
from breeder.carriers.queries import services
from breeder.carriers.rulebook import RuleBook, ask_carrier, ask_way, read_rules
from breeder.core.compliance.facts import NOTHING, RulebookAnswer, recorded_day_text
from breeder.orders.models import Order
from breeder.orders.rules.order_status import NotLikeThis
from breeder.people.models import Address, Person
from breeder.species.models import Species

NOBODY_OVERRIDES = "Leave it out, or send it elsewhere; nobody can agree it against that."


class MayNotGo(ValidationError):
    """Something of the order may not go there, or nobody carries it: one sentence for every reason."""

    def __init__(self, blocks: Sequence[str]) -> None:
        super().__init__([NotLikeThis(sentence, code="may_not_go") for sentence in (*blocks, NOBODY_OVERRIDES)])


class NotLookedUp(ValidationError):
    """The book leaves open whether it may go there, and the keeper has not said that they looked it up."""

    def __init__(self, questions: Sequence[str]) -> None:
        super().__init__([NotLikeThis(sentence, code="not_looked_up") for sentence in questions])


def ask(
    species: Iterable[Species], address: Address | None, person: Person, on: date, promised_by: date | None = None
) -> RulebookAnswer:
    """Return what is on record of these species going to somebody; without an address nothing is asked yet."""
    if address is None:
        return NOTHING
    book, kinds = read_rules(household().region), list(species)
    answer = ask_way(book, kinds, address, on, person.pk) + _carried(book, kinds, address)
    return answer + RulebookAnswer(questions=tuple(_ending(answer, promised_by)))


def _ending(answer: RulebookAnswer, promised_by: date | None) -> list[str]:
    """Return a sentence for each permit that runs out before the day by which the box is promised."""
    return [
        f"{permit.called} runs out on {recorded_day_text(permit.valid_until)}, before the box is promised by "
        f"{recorded_day_text(promised_by)}. Send it earlier, or write down the permit that follows."
        for permit in answer.permits
        if promised_by and permit.valid_until < promised_by
    ]


def _carried(book: RuleBook, species: Sequence[Species], address: Address) -> RulebookAnswer:
    """Return why no service takes them, where none does; which one is chosen is asked when the box is planned."""
    answers = [ask_carrier(book, species, service, address, None) for service in services()]
    if not answers or not all(answer.blocks for answer in answers):
        return NOTHING
    return RulebookAnswer(blocks=tuple(dict.fromkeys(answer.blocks[0] for answer in answers)))


def ask_order(order: Order, now: datetime) -> RulebookAnswer:
    """Return what is on record of an order as it stands."""
    return ask(_species_of(order), order.address, order.person, timezone.localdate(now), order.promised_by)


def _species_of(order: Order) -> list[Species]:
    return [line.offer.line.species for line in order.lines.all() if line.packs]


def refuse_blocked(answer: RulebookAnswer, *, looked_up: bool, asked_before: RulebookAnswer = NOTHING) -> None:
    """Raise MayNotGo where a rule forbids it, NotLookedUp where the keeper still has to decide something new."""
    if answer.blocks:
        raise MayNotGo(answer.blocks)
    new = [question for question in answer.questions if question not in asked_before.questions]
    if new and not looked_up:
        raise NotLookedUp(new)


def on_record(answer: RulebookAnswer) -> dict[str, list[str]]:
    """Return what was known and open when it was agreed, for the log."""
    said = {
        "on record": list(answer.notes),
        "left to the keeper": list(answer.questions),
        "permits": [permit.called for permit in answer.permits],
    }
    return {name: sentences for name, sentences in said.items() if sentences}
