"""What the keeper does with people and their addresses; each opens the one transaction."""

from collections.abc import Mapping
from typing import Any

from django.contrib.auth.models import AbstractBaseUser
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from breeder.base import form_tokens
from breeder.base.steps import forget_words, log
from breeder.people import queries, rules, steps
from breeder.people.models import Address, Person
from breeder.people.rules import Destination

Keeper = AbstractBaseUser | None


def add_person(
    values: Mapping[str, Any], destination: Destination | None = None, *, by: Keeper, token: str = ""
) -> Person:
    """Put somebody on file, with their address where there is one."""
    with transaction.atomic(durable=True):
        form_tokens.seen(token)
        person = steps.put_on_file(**values)
        if destination:
            steps.keep_address(person, destination)
        form_tokens.spend(token, person_url(person))
    return person


def edit_person(person_id: int, values: Mapping[str, Any], *, by: Keeper, token: str = "") -> Person:
    """Change how somebody is kept on file."""
    with transaction.atomic(durable=True):
        form_tokens.seen(token)
        person = Person.objects.get(pk=person_id, removed_at__isnull=True)
        for name, value in values.items():
            setattr(person, name, value)
        person.save(update_fields=list(values))
        form_tokens.spend(token, person_url(person))
    return person


def add_address(person_id: int, destination: Destination, *, by: Keeper, token: str = "") -> Address:
    """Keep a new address as the present one; older ones stay with the orders that went there."""
    with transaction.atomic(durable=True):
        form_tokens.seen(token)
        person = Person.objects.get(pk=person_id, removed_at__isnull=True)
        address = steps.keep_address(person, destination)
        form_tokens.spend(token, person_url(person))
    return address


def correct_address(address_id: int, destination: Destination, *, by: Keeper, token: str = "") -> Address:
    """Put an address right; open orders that go there follow, and their boxes must be checked again."""
    with transaction.atomic(durable=True):
        form_tokens.seen(token)
        address = Address.objects.select_related("person").get(pk=address_id, person__removed_at__isnull=True)
        for name, value in steps.columns_of(destination).items():
            setattr(address, name, value)
        address.save()
        form_tokens.spend(token, person_url(address.person))
    return address


def remove_person(person_id: int, *, by: Keeper, token: str = "") -> Person:
    """Blank name, contacts and addresses of somebody who asked for it; their orders' figures stay.

    Raises StillNeeded while an order waits for a box.
    """
    with transaction.atomic(durable=True):
        form_tokens.seen(token)
        person = Person.objects.select_for_update().get(pk=person_id)
        rules.check_removal(person.name, queries.open_order_numbers(person))
        name, number = person.name, person.pk
        _blank(person)
        forget_words(name, f"person {number} ({rules.REMOVED})")
        log("person removed", f"person {number}", f"Person {number} was removed; their orders' figures stay.", by=by)
        form_tokens.spend(token, reverse("people:list"))
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
