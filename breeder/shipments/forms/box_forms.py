"""Forms for boxes and supplies."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from breeder.base.dates import weekday_said
from breeder.base.edit_conflicts import ChangedMeanwhile, StampField
from breeder.base.form_messages import PlainForm
from breeder.carriers.models import Service
from breeder.core.thermal.ice_melt import BAG_W_K
from breeder.cultures.models import Culture
from breeder.shipments.models import Kit, Parcel, Supply
from breeder.shipments.rules.box_rules import ItemChange
from breeder.species.temperature_fields import DegreesField

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
        self.fields["post_on"].widget.choices = [(day.isoformat(), weekday_said(day)) for day in days]


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

    def changes(self) -> dict[int, ItemChange]:
        """Return what each item should become."""
        given = self.cleaned_data
        return {
            item.pk: ItemChange(given[f"planned_{item.pk}"], given[f"tub_{item.pk}"], given[f"cups_{item.pk}"])
            for item in self.items
        }


class SuppliesForm(PlainForm, forms.Form):
    """What is on the shelf, supply by supply; a box that left since the page was opened is not counted back."""

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
            stamp = _stamp(supply.on_shelf, supply.order_below)
            self.fields[f"seen_{supply.pk}"] = StampField(required=False, initial=stamp)
        if self.is_bound:
            self.data = self._with_the_shelf(self.data.copy())

    def _with_the_shelf(self, data: Any) -> Any:
        """Return what was sent, where a supply that nobody touched on the page is as the book has it now."""
        for supply in self.supplies:
            names = [f"shelf_{supply.pk}", f"below_{supply.pk}", f"seen_{supply.pk}"]
            shelf, below, seen = (data.get(name) for name in names)
            if seen == _stamp(shelf, below):
                stamp = self.fields[names[2]].initial
                for name, value in zip(names, [*stamp.split(":"), stamp], strict=True):
                    data[name] = value
        return data

    def refuse_if_changed(self) -> None:
        """Compare what the page showed of the supplies that are counted with the shelf as it is now.

        Raises ChangedMeanwhile, and shows from then on what was compared; the caller holds these supplies' lock.
        """
        counts, changed = self.counts(), []
        for supply in Supply.objects.filter(pk__in=counts).order_by("pk"):
            shown: Any = self.fields[f"seen_{supply.pk}"]
            shown.initial, shown.is_compared = _stamp(supply.on_shelf, supply.order_below), True
            if self._seen(supply) not in ("", shown.initial) and _stamp(*counts[supply.pk]) != shown.initial:
                changed.append(_changed(supply))
        if changed:
            raise ChangedMeanwhile(changed)

    def _typed(self, supply: Supply) -> tuple[Any, Any]:
        return self.cleaned_data.get(f"shelf_{supply.pk}"), self.cleaned_data.get(f"below_{supply.pk}")

    def _seen(self, supply: Supply) -> str:
        """Return the stamp of what the page showed when it was opened; empty where it did not say."""
        return str(self.data.get(f"seen_{supply.pk}", ""))

    def label_of(self, name: str) -> str:
        """Return the label with its supply: beside the field the supply stands above both."""
        supply = next(one for one in self.supplies if name.endswith(f"_{one.pk}"))
        return f"{supply}, {super().label_of(name).lower()}"

    def rows(self) -> Iterator[dict[str, Any]]:
        """Yield each supply with its fields, for the page."""
        for supply in self.supplies:
            yield {"supply": supply} | {name: self[f"{name}_{supply.pk}"] for name in ("shelf", "below", "seen")}

    def counts(self) -> dict[int, tuple[int, int]]:
        """Return {supply: (on shelf, order below)} of what was typed otherwise than it was shown."""
        typed = {supply: self._typed(supply) for supply in self.supplies}
        return {supply.pk: numbers for supply, numbers in typed.items() if _stamp(*numbers) != self._seen(supply)}


def _stamp(on_shelf: Any, below: Any) -> str:
    return f"{on_shelf}:{below}"


def _changed(supply: Supply) -> ValidationError:
    sentence = (
        f"‘{supply}’ was changed since you opened this page: {supply.on_shelf} on the shelf, order more below "
        f"{supply.order_below}. What you typed is still here: check it, and save again if you want to keep it."
    )
    return ValidationError(sentence, code="changed_meanwhile")


class SupplyForm(PlainForm, forms.Form):
    """A new kind of box, liner or pack."""

    name = forms.CharField(label="Name", max_length=80)
    on_shelf = forms.IntegerField(label="On the shelf", min_value=0, max_value=MOST_ON_SHELF, initial=0)
    order_below = forms.IntegerField(label="Order more below", min_value=0, max_value=MOST_ON_SHELF, initial=5)


class LoggerForm(PlainForm, forms.Form):
    """A file of loggers from a box outdoors, with a bottle of water and nothing else inside."""

    file = forms.FileField(
        label="The loggers' file (CSV)",
        help_text="Columns time, outside, bottle, and air if a second logger hung in the box. Times as 2026-02-04 "
        "17:30 or 2/4/2026 5:30 PM. Empty cells are gaps.",
    )
    fahrenheit = forms.BooleanField(label="Its temperatures are in °F", required=False)
    litres = forms.FloatField(
        label="Water in the bottle, liters",
        initial=0.5,
        min_value=0.05,
        max_value=10,
        help_text="Weigh it: a kilogram is a liter, a pound 0.45. The answer rests on it.",
    )


class IceForm(PlainForm, forms.Form):
    """Ice that melted in a box with nothing else in it."""

    melted_kg = forms.FloatField(label="Ice that melted, kg", min_value=0.01, max_value=20)
    hours = forms.FloatField(label="In how many hours", min_value=0.5, max_value=240)
    outside_c = DegreesField(label="Outside, on average", low_c=1, high_c=50)
    bag_w_k = forms.FloatField(
        label="The bag takes up, W for every °C",
        initial=BAG_W_K,
        required=False,
        min_value=0.1,
        max_value=20,
        help_text="1 for one flat bag of about a kilogram, 2 for two spread out side by side (our judgment).",
    )

    def __init__(self, *args: Any, fahrenheit: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        outside = self.fields["outside_c"]
        outside.fahrenheit = fahrenheit  # type: ignore[attr-defined]
        outside.label = f"Outside, on average, {outside.unit}"  # type: ignore[attr-defined]
