"""What the keeper does with people and their addresses."""

from collections.abc import Mapping
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.urls import reverse
from django.utils import timezone

from breeder.base.action_frame import action
from breeder.base.edit_conflicts import ChangedMeanwhile
from breeder.base.steps import forget_words, log
from breeder.people import queries, rules, steps
from breeder.people.models import Address, Person
from breeder.people.rules import Destination

Keeper = AbstractBaseUser | None


def _on_file(person_id: int, *_: Any) -> Person:
    """Lock somebody and read them as they are now. Raises ChangedMeanwhile if they are not on file any more."""
    person = Person.objects.select_for_update().filter(pk=person_id, removed_at__isnull=True).first()
    if person is None:
        raise ChangedMeanwhile("This person was removed from the book meanwhile. Nothing was written.")
    return person


def _kept_address(address_id: int, *_: Any) -> Address:
    """Lock the person of an address, then read it."""
    address = Address.objects.get(pk=address_id)
    address.person = _on_file(address.person_id)
    return address


@action()
def add_person(values: Mapping[str, Any], destination: Destination | None = None, *, by: Keeper) -> Person:
    """Put somebody on file, with their address where there is one."""
    person = steps.put_on_file(**values)
    if destination:
        steps.keep_address(person, destination)
    return person


@action(lock=_on_file)
def edit_person(person: Person, values: Mapping[str, Any], *, by: Keeper) -> Person:
    """Change how somebody is kept on file."""
    for name, value in values.items():
        setattr(person, name, value)
    person.save(update_fields=list(values))
    return person


@action(lock=_on_file)
def add_address(person: Person, destination: Destination, *, by: Keeper) -> Address:
    """Keep a new address as the present one; older ones stay with the orders that went there."""
    return steps.keep_address(person, destination)


@action(lock=_kept_address)
def correct_address(address: Address, destination: Destination, *, by: Keeper) -> Address:
    """Put an address right; open orders that go there follow, and their boxes must be checked again."""
    for name, value in steps.address_columns(destination).items():
        setattr(address, name, value)
    address.save()
    return address


@action(lock=_on_file)
def remove_person(person: Person, *, by: Keeper) -> Person:
    """Blank name, contacts and addresses of somebody who asked for it; their orders' figures stay.

    Raises StillNeeded while an order waits for a box.
    """
    rules.check_removal(person.name, queries.open_order_numbers(person))
    name, number = person.name, person.pk
    _blank(person)
    forget_words(name, f"person {number} ({rules.REMOVED})")
    log("person removed", f"person {number}", f"Person {number} was removed; their orders' figures stay.", by=by)
    return person


def _blank(person: Person) -> None:
    person.name = f"{rules.REMOVED} {person.pk}"
    person.email = person.phone = person.note = ""
    person.consent_on, person.removed_at = None, timezone.now()
    person.save()
    person.addresses.update(
        block=rules.REMOVED,
        postcode="",
        town="",
        region="",
        latitude=None,
        longitude=None,
        timezone="",
        is_current=False,
    )


def person_url(person: Person) -> str:
    """Return the address of somebody's page."""
    return reverse("people:person", args=[person.pk])
