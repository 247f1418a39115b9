"""Reads of people and addresses."""

from django.db.models import Prefetch, Q, QuerySet

from breeder.people.models import Address, Person

# Orders live on a higher floor; what they point at here is known by name only. These have ended.
ENDED = ("sent", "cancelled", "lapsed")


def people(search: str = "", kind: str = "") -> QuerySet[Person]:
    """Return people who are on file, with their present address in `current`."""
    current = Prefetch("addresses", queryset=Address.objects.filter(is_current=True), to_attr="current")
    found = Person.objects.filter(removed_at__isnull=True).prefetch_related(current)
    if search:
        words = search.replace("\x00", "")
        found = found.filter(
            Q(name__icontains=words) | Q(email__icontains=words) | Q(addresses__town__icontains=words)
        ).distinct()
    return found.filter(kind=kind) if kind else found


def open_order_numbers(person: Person) -> list[int]:
    """Return the numbers of this person's orders that still wait for a box."""
    return list(person.orders.exclude(status__in=ENDED).order_by("number").values_list("number", flat=True))
