"""Forms of an order that was agreed: its lines, its payments, its end."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils import timezone

from breeder.base.edit_conflicts import STAMP_LETTERS
from breeder.base.form_messages import PlainForm
from breeder.orders import rules
from breeder.orders.actions import Change, LineChange
from breeder.orders.forms.fields import AgreedDays, day_field, money_field, name_field, packs_field
from breeder.orders.models import Order, OrderLine


class LinesForm(PlainForm, forms.Form):
    """What the lines of an order should become.

    It carries the stamp of what the page showed, of the terms too; the action compares it once nobody else can write.
    """

    seen = forms.CharField(required=False, max_length=STAMP_LETTERS, widget=forms.HiddenInput)

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = [line for line in order.lines.all() if line.packs]
        # What was not on the page that was sent stays as it is: somebody else may have put it on the order meanwhile.
        self.lines = [line for line in lines if not self.is_bound or f"line-{line.pk}-packs" in self.data]
        self.initial.setdefault("seen", rules.stamp_of(order))
        for line in self.lines:
            self.fields[f"line-{line.pk}-packs"] = packs_field("Packs", required=True, initial=line.packs)
            self.fields[f"line-{line.pk}-price"] = money_field(
                "Price of one", required=False, min_value=0, initial=line.price
            )
            if line.offer.line.frozen_because:
                self.fields[f"line-{line.pk}-name"] = name_field(line.offer.line)

    @classmethod
    def after_others(cls, sent: QueryDict, order: Order, refusal: ValidationError) -> "LinesForm":
        """Return the form anew for an order that others changed: what was typed stays, their new lines are shown."""
        data, shown = sent.copy(), cls(order=order)
        data["seen"] = shown["seen"].value()
        for name, field in shown.fields.items():
            data.setdefault(name, "" if field.initial is None else str(field.initial))
        form = cls(data, order=order)
        form.add_error(None, refusal)
        return form

    def rows(self) -> list[dict[str, Any]]:
        """Return each line with its two fields, for the page."""
        return [
            {
                "line": line,
                "packs": self[f"line-{line.pk}-packs"],
                "price": self[f"line-{line.pk}-price"],
                "name": self[f"line-{line.pk}-name"] if f"line-{line.pk}-name" in self.fields else None,
            }
            for line in self.lines
        ]

    def change(self, terms: rules.Terms, added: Sequence[rules.Wanted], named: Sequence[str] = ()) -> Change:
        given = self.cleaned_data
        lines = {
            line.pk: LineChange(given[f"line-{line.pk}-packs"], given[f"line-{line.pk}-price"]) for line in self.lines
        }
        typed = [given[f"line-{line.pk}-name"] for line in self.lines if given.get(f"line-{line.pk}-name")]
        return Change(terms=terms, lines=lines, added=added, named=[*typed, *named], seen=given["seen"])


class CancelForm(PlainForm, forms.Form):
    """Why an order is cancelled."""

    reason = forms.CharField(label="Why", max_length=240, widget=forms.TextInput(attrs={"autocomplete": "off"}))


class HoldForm(AgreedDays, PlainForm, forms.Form):
    """Until when an order is held again."""

    held_until = day_field("Hold it until the end of")

    def __init__(self, *args: Any, lines: Iterable[OrderLine] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for line in (line.offer.line for line in lines):
            if line.frozen_because:
                self.fields[f"name-{line.pk}"] = name_field(line)

    def named(self) -> list[str]:
        """Return what was typed as names of frozen lines."""
        return [text for name, text in self.cleaned_data.items() if name.startswith("name-") and text]


class PaymentForm(PlainForm, forms.Form):
    """Money received or given back."""

    amount = money_field("Amount")
    on = day_field("On")
    way = forms.ChoiceField(
        label="It was", choices=[("in", "received"), ("back", "given back")], widget=forms.RadioSelect
    )
    reference = forms.CharField(
        label="Reference",
        max_length=80,
        required=False,
        help_text="Such as a number on the bank statement. Never write down card numbers.",
    )
    more_is_meant = forms.BooleanField(label="It is more than is due, and that is right", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.is_bound:
            # Asked only once an amount was more than is due.
            del self.fields["more_is_meant"]

    def payment(self) -> dict[str, Any]:
        """Return what was typed as the action takes it."""
        given = self.cleaned_data
        return {
            "amount": given["amount"],
            "on": given["on"],
            "given_back": given["way"] == "back",
            "more_is_meant": given["more_is_meant"],
            "reference": given["reference"],
        }

    def clean_on(self) -> date:
        on: date = self.cleaned_data["on"]
        if on > timezone.localdate():
            raise ValidationError(f"‘On’ is {on:%-d %B %Y}, which is still to come. Choose the day the money came.")
        return on

    def clean_reference(self) -> str:
        reference: str = self.cleaned_data["reference"]
        if rules.looks_like_card(reference):
            raise ValidationError("That looks like a card number, which is never kept here. Write another reference.")
        return reference


def money_due(due: Decimal) -> Decimal | None:
    """Return what a payment form begins with: what is open, if anything is."""
    return due if due > 0 else None
