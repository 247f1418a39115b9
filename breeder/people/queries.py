"""Reads of people and addresses."""

from django.db.models import Prefetch, QuerySet

from breeder.people.models import Address, Person

# Orders live on a higher floor; what they point at here is known by name only. These have ended.
ENDED = ("sent", "cancelled", "lapsed")


def people(search: str = "", kind: str = "") -> QuerySet[Person]:
    """Return people who are on file, with their present address in `current`."""
    current = Prefetch("addresses", queryset=Address.objects.filter(is_current=True), to_attr="current")
    found = Person.objects.filter(removed_at__isnull=True).prefetch_related(current)
    if search:
        found = found.filter(pk__in=holding(search, "name", "email", "addresses__town"))
    return found.filter(kind=kind) if kind else found


def holding(words: str, *columns: str) -> set[int]:
    """Return people of whom a column holds these letters, large or small.

    Compared here and not by the database: SQLite knows small letters of ASCII only, and PostgreSQL those of its locale.
    """
    wanted = words.replace("\x00", "").casefold()
    rows = Person.objects.values_list("pk", *columns)
    return {pk for pk, *texts in rows if any(wanted in (text or "").casefold() for text in texts)}


def is_on_file(name: str) -> bool:
    """Return whether somebody on file is called just so, whatever letters are large."""
    names = Person.objects.filter(removed_at=None).values_list("name", flat=True)
    return name.casefold() in {known.casefold() for known in names}


def open_order_numbers(person: Person) -> list[int]:
    """Return the numbers of this person's orders that still wait for a box."""
    return list(person.orders.exclude(status__in=ENDED).order_by("number").values_list("number", flat=True))
