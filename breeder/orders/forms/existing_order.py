"""Forms of an order that was agreed: its lines, its payments, its end."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.edit_conflicts import StampField, short
from breeder.base.form_messages import PlainForm
from breeder.orders import rules
from breeder.orders.actions import Change, LineChange
from breeder.orders.forms.fields import AgreedDays, day_field, money_field, name_field, packs_field
from breeder.orders.models import Order, OrderLine


class LinesForm(PlainForm, forms.Form):
    """What the lines of an order should become; asks before it writes over what was changed since the page was opened.

    A courtesy to two browsers, as in `house.seen`; the stamp is of the terms too, which the same page changes.
    """

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order, self.lines = order, [line for line in order.lines.all() if line.packs]
        self.fields["seen"] = StampField(required=False, initial=_stamp(order, self.lines))
        for line in self.lines:
            self.fields[f"line-{line.pk}-packs"] = packs_field("Packs", required=True, initial=line.packs)
            self.fields[f"line-{line.pk}-price"] = money_field(
                "Price of one", required=False, min_value=0, initial=line.price
            )
            if line.offer.line.frozen_because:
                self.fields[f"line-{line.pk}-name"] = name_field(line.offer.line)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        seen = self.data.get("seen", "")
        if seen and seen != _stamp(self.order, self.lines):
            packs = ", ".join(str(line) for line in self.lines)
            raise ValidationError(
                f"Order {self.order.number} was changed since you opened this page; in the book it is now {packs}. "
                "What you typed stands below: look at it and at the terms, and keep it again if it is to be so.",
                code="changed_meanwhile",
            )
        return given

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
        return Change(terms=terms, lines=lines, added=added, named=[*typed, *named])


def _stamp(order: Order, lines: Iterable[OrderLine]) -> str:
    """Return what tells whether an order is still as the page of its change showed it."""
    terms = (order.held_until, order.promised_by, order.postage, order.note, order.address_id)
    return short((terms, [(line.pk, line.packs, line.price) for line in lines]))


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
