"""Reads of people and addresses."""

from django.db.models import Prefetch, QuerySet

from breeder.people.models import Address, Person

# Orders live on a higher floor, so this room knows their statuses by name only. These orders have ended.
ENDED = ("sent", "cancelled", "lapsed")


def people(search: str = "", kind: str = "") -> QuerySet[Person]:
    """Return people on file, with their present address in `current`."""
    current = Prefetch("addresses", queryset=Address.objects.filter(is_current=True), to_attr="current")
    on_file = Person.objects.filter(removed_at__isnull=True).prefetch_related(current)
    if search:
        on_file = on_file.filter(pk__in=ids_containing(search, "name", "email", "addresses__town"))
    return on_file.filter(kind=kind) if kind else on_file


def ids_containing(words: str, *columns: str) -> set[int]:
    """Return the ids of people with these letters in one of the columns, in upper or lower case.

    Compared here and not in the database: SQLite folds the case of ASCII only, and PostgreSQL that of its locale.
    """
    wanted = words.replace("\x00", "").casefold()
    rows = Person.objects.values_list("pk", *columns)
    return {pk for pk, *texts in rows if any(wanted in (text or "").casefold() for text in texts)}


def is_on_file(name: str) -> bool:
    """Return whether a person on file has exactly this name, ignoring case."""
    names = Person.objects.filter(removed_at=None).values_list("name", flat=True)
    return name.casefold() in {known.casefold() for known in names}


def open_order_numbers(person: Person) -> list[int]:
    """Return the numbers of this person's orders that still wait for their box."""
    return list(person.orders.exclude(status__in=ENDED).order_by("number").values_list("number", flat=True))
