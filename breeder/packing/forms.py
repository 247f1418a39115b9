"""Forms for boxes and supplies."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django import forms

from breeder.carriers.models import Service
from breeder.cultures.models import Culture
from breeder.house.sentences import PlainForm
from breeder.packing.models import Kit, Parcel, Supply
from breeder.packing.rules import Content

MOST_ANIMALS = 10_000
MOST_ON_SHELF = 100_000


class KitChoice(PlainForm, forms.Form):
    """In what a box is packed."""

    kit = forms.ModelChoiceField(Kit.objects.filter(active=True), label="Kit", empty_label=None)


class WayChoice(PlainForm, forms.Form):
    """By which service, and to where."""

    service = forms.ModelChoiceField(Service.objects.filter(active=True), label="Service", empty_label=None)
    way = forms.ChoiceField(label="Delivered to", choices=Parcel.Way.choices)


class DayChoice(PlainForm, forms.Form):
    """On which posting day; only days on which the service takes a box are offered."""

    post_on = forms.DateField(label="Handed over on", widget=forms.Select)

    def __init__(self, *args: Any, days: list[date], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["post_on"].widget.choices = [(day.isoformat(), f"{day:%A %-d %B}") for day in days]


class ContentsForm(PlainForm, forms.Form):
    """What is planned for a box, item by item."""

    def __init__(self, *args: Any, parcel: Parcel, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.items = list(parcel.items.all())
        lines = {item.order_line.offer.line_id for item in self.items}
        tubs = Culture.objects.filter(line_id__in=lines, closed_on=None).order_by("number")
        for item in self.items:
            own = [(tub.pk, f"tub {tub.number}") for tub in tubs if tub.line_id == item.order_line.offer.line_id]
            name = str(item.order_line.offer.line)
            self.fields[f"planned_{item.pk}"] = forms.IntegerField(
                label=f"How many of {name}", min_value=0, max_value=MOST_ANIMALS, initial=item.planned
            )
            self.fields[f"tub_{item.pk}"] = forms.TypedChoiceField(
                label="out of",
                choices=[("", "no tub named"), *own],
                coerce=int,
                empty_value=None,
                required=False,
                initial=item.culture_id,
            )
            self.fields[f"cups_{item.pk}"] = forms.IntegerField(
                label="in cups", min_value=0, max_value=100, initial=item.cups
            )

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each item with its fields, for the page."""
        for item in self.items:
            yield {"item": item, "fields": [self[f"{name}_{item.pk}"] for name in ("planned", "tub", "cups")]}

    def changes(self) -> dict[int, Content]:
        """Return what each item should become."""
        given = self.cleaned_data
        return {
            item.pk: Content(given[f"planned_{item.pk}"], given[f"tub_{item.pk}"], given[f"cups_{item.pk}"])
            for item in self.items
        }


class SuppliesForm(PlainForm, forms.Form):
    """What is on the shelf, supply by supply."""

    def __init__(self, *args: Any, supplies: list[Supply], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.supplies = supplies
        for supply in supplies:
            self.fields[f"shelf_{supply.pk}"] = forms.IntegerField(
                label="On the shelf", min_value=0, max_value=MOST_ON_SHELF, initial=supply.on_shelf
            )
            self.fields[f"below_{supply.pk}"] = forms.IntegerField(
                label="Order more below", min_value=0, max_value=MOST_ON_SHELF, initial=supply.order_below
            )

    def label_of(self, name: str) -> str:
        """Return the label with its supply: beside the field the supply stands above both."""
        supply = next(one for one in self.supplies if name.endswith(f"_{one.pk}"))
        return f"{supply}, {super().label_of(name).lower()}"

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each supply with its fields, for the page."""
        for supply in self.supplies:
            yield {"supply": supply, "shelf": self[f"shelf_{supply.pk}"], "below": self[f"below_{supply.pk}"]}

    def counts(self) -> dict[int, tuple[int, int]]:
        """Return {supply: (on shelf, order below)} as typed."""
        given = self.cleaned_data
        return {supply.pk: (given[f"shelf_{supply.pk}"], given[f"below_{supply.pk}"]) for supply in self.supplies}


class SupplyForm(PlainForm, forms.Form):
    """A new kind of box, liner or pack."""

    name = forms.CharField(label="Name", max_length=80)
    on_shelf = forms.IntegerField(label="On the shelf", min_value=0, max_value=MOST_ON_SHELF, initial=0)
    order_below = forms.IntegerField(label="Order more below", min_value=0, max_value=MOST_ON_SHELF, initial=5)


class LoggerForm(PlainForm, forms.Form):
    """A logger's file from a packed box outdoors, with a bottle of water inside."""

    file = forms.FileField(
        label="The logger's file (CSV)", help_text="Columns time, outside, inside; empty cells are gaps."
    )
    fahrenheit = forms.BooleanField(label="Its temperatures are in °F", required=False)
    bottle_kg = forms.FloatField(
        label="Water in the bottle, kg",
        initial=0.5,
        min_value=0.05,
        max_value=10,
        help_text="Weigh it; the answer rests on it.",
    )


class IceForm(PlainForm, forms.Form):
    """Ice that melted in a packed box."""

    melted_kg = forms.FloatField(label="Ice that melted, kg", min_value=0.01, max_value=20)
    hours = forms.FloatField(label="In how many hours", min_value=0.5, max_value=240)
    outside_c = forms.FloatField(label="Outside, on average, °C", min_value=1, max_value=50)
