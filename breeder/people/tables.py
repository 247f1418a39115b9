"""Tables of people."""

import django_tables2 as tables

from breeder.people.models import Person


class PeopleTable(tables.Table):
    """People on file and where their boxes go."""

    name = tables.Column("Name", linkify=("people:person", {"pk": tables.A("pk")}), attrs={"td": {"unlabelled": True}})
    kind = tables.Column("Kind")
    town = tables.Column("Boxes go to", accessor="current", orderable=False, empty_values=())
    email = tables.Column("E-mail")
    consent_on = tables.DateColumn(verbose_name="Agreed on", format="j M Y")

    class Meta:
        order_by = "name"
        empty_text = "Nobody by that name. Put them on file with ‘New person’."

    def render_town(self, record: Person) -> str:
        return town_of(record) or "no address yet"


def town_of(person: Person) -> str:
    """Return town, region and country of the present address, or an empty text."""
    if not person.current:  # type: ignore[attr-defined]
        return ""
    address = person.current[0]  # type: ignore[attr-defined]
    return ", ".join(part for part in (address.town, address.region or address.country) if part)
