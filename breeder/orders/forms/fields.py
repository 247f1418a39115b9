"""Fields that several forms of this room share."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.fields import MoneyField
from breeder.base.widgets import LeanInput, LeanNumberInput, LeanSelect
from breeder.orders.queries.orders import LineOnOffer
from breeder.orders.rules.order_status import FURTHEST_DAYS
from breeder.orders.rules.packs import MOST_PACKS
from breeder.species.models import Line

SEVERAL = 2  # choices: with no more than “any” and one tub there is nothing to choose
LONGEST_NAME = 240


def day_field(label: str, **options: Any) -> forms.DateField:
    """Return a date that the browser picks from its own calendar."""
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return forms.DateField(label=label, widget=widget, **options)


def money_field(label: str, **options: Any) -> MoneyField:
    """Return an amount of money, typed with the number keys of a phone."""
    widget = LeanInput(attrs={"inputmode": "decimal", "autocomplete": "off", "size": 8})
    return MoneyField(label=label, widget=widget, **options)


def packs_field(label: str, *, required: bool = False, **options: Any) -> forms.IntegerField:
    """Return a number of packs."""
    widget = LeanNumberInput(attrs={"inputmode": "numeric", "class": "short", "min": 0})
    return forms.IntegerField(
        label=label, required=required, min_value=0, max_value=MOST_PACKS, widget=widget, **options
    )


def tub_choices(line: LineOnOffer, stage: str) -> list[tuple[Any, str]]:
    """Return the tubs out of which a pack of this stage may be promised, after the choice of none by name."""
    stock = line.stock.stages.get(stage)
    tubs = [tub for tub in stock.tubs if tub.gives and tub.free] if stock else []
    return [("", "any of them"), *((tub.culture_id, f"tub {tub.number}, {tub.free} free") for tub in tubs)]


def tub_field(choices: list[tuple[Any, str]]) -> forms.TypedChoiceField:
    """Return the choice of the one tub that a pack comes out of."""
    return forms.TypedChoiceField(
        label="Out of", choices=choices, required=False, coerce=int, empty_value=None, widget=LeanSelect
    )


def name_field(line: Line) -> forms.CharField:
    """Return the field in which the name of a frozen line is typed."""
    return forms.CharField(
        label=f"Frozen: {line.frozen_because.rstrip('.')}. To promise of it, type its name",
        required=False,
        max_length=LONGEST_NAME,
        strip=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )


def fault_of_day(label: str, day: date) -> str:
    """Return why a day cannot be agreed on: it is over, or further away than anybody means."""
    today = timezone.localdate()
    if day < today:
        return f"‘{label}’ is {day:%-d %B %Y}, which is over. Choose today or a later day."
    if day > today + timedelta(days=FURTHEST_DAYS):
        return f"‘{label}’ is {day:%-d %B %Y}, more than a year away. Check the year."
    return ""


class AgreedDays(forms.BaseForm):
    """Mix in: days agreed on are still to come; one that was agreed before and is left alone may be over by now."""

    def checked_day(self, name: str) -> date | None:
        """Return the day typed in a field. Raises ValidationError with what is wrong with it."""
        day: date | None = self.cleaned_data[name]
        if day and name in self.changed_data and (fault := fault_of_day(str(self[name].label), day)):
            raise ValidationError(fault)
        return day

    def clean_held_until(self) -> date | None:
        return self.checked_day("held_until")
