"""Steps of actions that put people and addresses on file; they need the caller's transaction."""

from typing import Any

from breeder.people.models import Address, Person
from breeder.people.rules import Destination


def put_on_file(**values: Any) -> Person:
    """Put a new person on file."""
    return Person.objects.create(**values)


def keep_address(person: Person, destination: Destination) -> Address:
    """Keep an address as the person's present one; older ones stay with the orders that went there."""
    person.addresses.update(is_current=False)
    return Address.objects.create(person=person, **address_columns(destination))


def address_columns(destination: Destination) -> dict[str, Any]:
    """Return the column values of an address for this destination."""
    place = destination.place
    return {
        "block": destination.block,
        "country": destination.country,
        "postcode": destination.postcode,
        "town": destination.town,
        "region": destination.region,
        "latitude": place.latitude if place else None,
        "longitude": place.longitude if place else None,
        "timezone": place.timezone if place else "",
    }
