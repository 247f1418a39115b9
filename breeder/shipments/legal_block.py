"""Decide by the book's rules whether a box's animals may go there at all, and by this carrier. Weather plays no part.

A block has no override. It is computed whenever a box is shown, packed or sent, so that a new rule, an expired permit
or a new address counts at once.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime

from django.utils import timezone

from breeder.base.queries import household as read_household
from breeder.carriers.models import Service
from breeder.carriers.rulebook import RuleBook, ask_carrier, ask_way, read_rules
from breeder.core.compliance.facts import RulebookAnswer
from breeder.shipments.models import Parcel
from breeder.shipments.rules import departure_rules
from breeder.shipments.rules.box_rules import HERE
from breeder.species.models import Species


def current_rules() -> RuleBook:
    """Return all rules and permits, to read once for any number of boxes."""
    return read_rules(read_household().region)


def species_going(parcel: Parcel) -> list[Species]:
    """Return the species that a box holds: of the lines ordered, and of the tubs they come from."""
    species: dict[int, Species] = {}
    for item in parcel.items.all():
        ordered = item.order_line.offer.line.species
        kept = item.culture.line.species if item.culture else ordered
        species |= {ordered.pk: ordered, kept.pk: kept}
    return list(species.values())


def ask_box(rulebook: RuleBook, parcel: Parcel, on: date, *, service: Service | None = None) -> RulebookAnswer:
    """Return the rules' answer for a box leaving on a day, by its own service or another."""
    order, species, service = parcel.order, species_going(parcel), service or parcel.service
    answer = ask_way(rulebook, species, order.address, on, order.person_id)
    if service is None:
        return answer
    return answer + ask_carrier(rulebook, species, service, order.address, on)


def ask_boxes(parcels: Iterable[Parcel], now: datetime) -> dict[int, RulebookAnswer]:
    """Return, by the box's key, what is on record of it leaving on its day, or today where that is past or open."""
    rulebook, today = current_rules(), timezone.localdate(now)
    return {
        parcel.pk: ask_box(rulebook, parcel, rule_day(parcel, today)) for parcel in parcels if parcel.status in HERE
    }


def blocked_days(rulebook: RuleBook, parcel: Parcel, days: Sequence[date]) -> dict[date, tuple[str, ...]]:
    """Return the days on which a box is blocked, each with the reasons.

    Seasons and permits last longer than a board's days: if the first and the last day agree, so do the days between.
    """
    if not days:
        return {}
    first, last = (ask_box(rulebook, parcel, day).blocks for day in (days[0], days[-1]))
    if first == last:
        return dict.fromkeys(days, first) if first else {}
    answers = {day: ask_box(rulebook, parcel, day).blocks for day in days}
    return {day: blocks for day, blocks in answers.items() if blocks}


def rule_day(parcel: Parcel, today: date) -> date:
    """Return the day to ask the rules about."""
    return max(parcel.post_on or today, today)


def refuse_blocked(parcel: Parcel, today: date) -> RulebookAnswer:
    """Return the rules' answer for a box leaving today. Raises LegalBlock, which no person or reason overrides."""
    answer = ask_box(current_rules(), parcel, today)
    if answer.blocks:
        raise departure_rules.LegalBlock(answer.blocks)
    return answer
