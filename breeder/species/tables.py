"""Tables of species."""

from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from breeder.base.models import Setting
from breeder.core.units import degrees
from breeder.species.models import Species

NUMBER = {"th": {"class": "num"}, "td": {"class": "num beside"}}
BESIDE = {"td": {"class": "beside", "unlabelled": True}}


class SpeciesTable(tables.Table):
    """Species, the temperatures they tolerate in the box, and how many lines of them are kept."""

    species = tables.Column(
        "Species",
        accessor="scientific_name",
        order_by=("scientific_name", "qualifier"),
        attrs={"td": {"unlabelled": True}},
    )
    group = tables.Column("Group", attrs=BESIDE)
    band = tables.Column("Band", attrs=BESIDE)
    comfort = tables.Column("In the box", accessor="comfort_low_c", attrs=BESIDE)
    open_lines = tables.Column("Lines", attrs=NUMBER)

    class Meta:
        order_by = "species"
        empty_text = "No species by that name. Add it with ‘New species’."

    def __init__(self, *args: Any, household: Setting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.household = household

    def render_species(self, record: Species) -> SafeString:
        return render_to_string("species/_species_cell.html", {"record": record})

    def render_comfort(self, record: Species) -> str:
        return comfort_text(record, self.household)


def comfort_text(species: Species, household: Setting) -> str:
    """Return the comfort band in the household's unit, such as '7 to 29 °C'."""
    low = degrees(float(species.comfort_low_c), fahrenheit=household.fahrenheit)
    high = degrees(float(species.comfort_high_c), fahrenheit=household.fahrenheit)
    return f"{low.rsplit(' ', 1)[0]} to {high}"
