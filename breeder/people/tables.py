"""Tables of people."""

import django_tables2 as tables

from breeder.people.models import Person

BESIDE = {"td": {"class": "beside", "unlabelled": True}}


class PeopleTable(tables.Table):
    """People on file and the places their boxes go to."""

    name = tables.Column("Name", linkify=("people:person", {"pk": tables.A("pk")}), attrs={"td": {"unlabelled": True}})
    kind = tables.Column("Kind", attrs=BESIDE)
    town = tables.Column("Boxes go to", accessor="current", orderable=False, empty_values=(), attrs=BESIDE)
    email = tables.EmailColumn(verbose_name="E-mail", default="", attrs=BESIDE)
    consent_on = tables.DateColumn(verbose_name="Agreed to be on file", format="j M Y", default="not noted")

    class Meta:
        order_by = "name"
        empty_text = "Nobody here. Put somebody on file with ‘New person’; a new order does it too."

    def render_town(self, record: Person) -> str:
        return town_text(record) or "no address yet"


def town_text(person: Person) -> str:
    """Return town, region and country of the present address, or an empty text."""
    if not person.current:  # type: ignore[attr-defined]
        return ""
    address = person.current[0]  # type: ignore[attr-defined]
    region = address.region.removeprefix(f"{address.country}-") or address.country
    return ", ".join(part for part in (address.town, region) if part)
