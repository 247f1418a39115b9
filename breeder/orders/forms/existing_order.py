"""Forms of an order that was agreed: its lines, its payments, its end."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.edit_conflicts import STAMP_LETTERS, ChangedMeanwhile
from breeder.base.form_messages import PlainForm
from breeder.orders.actions import Change, LineChange
from breeder.orders.forms.fields import AgreedDays, day_field, money_field, name_field, packs_field
from breeder.orders.models import Order, OrderLine
from breeder.orders.rules.money import looks_like_card
from breeder.orders.rules.order_status import Terms
from breeder.orders.rules.packs import Wanted
from breeder.orders.rules.stale_order import refuse_stale, stamp_of
from breeder.orders.steps import fresh


class LinesForm(PlainForm, forms.Form):
    """What the lines of an order should become; carries the stamp of what the page showed, of the terms too."""

    seen = forms.CharField(required=False, max_length=STAMP_LETTERS, widget=forms.HiddenInput)

    def __init__(self, *args: Any, order: Order, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order = order
        self.initial.setdefault("seen", stamp_of(order))
        # What was not on the page that was sent stays as it is: somebody else may have put it on the order meanwhile.
        self._add_lines(line for line in order.lines.all() if not self.is_bound or f"line-{line.pk}-packs" in self.data)

    def _add_lines(self, lines: Iterable[OrderLine]) -> None:
        self.lines = [line for line in lines if line.packs]
        for line in self.lines:
            self.fields[f"line-{line.pk}-packs"] = packs_field("Packs", required=True, initial=line.packs)
            self.fields[f"line-{line.pk}-price"] = money_field(
                "Price of one", required=False, min_value=0, initial=line.price
            )
            if line.offer.line.frozen_because:
                self.fields[f"line-{line.pk}-name"] = name_field(line.offer.line)

    def refuse_if_changed(self) -> None:
        """Compare what the page showed with the order as it is now. Raises ChangedMeanwhile.

        The form then shows the order as it is: what was typed stays, and lines that others added appear.
        """
        seen, self.order = self.cleaned_data["seen"], fresh(self.order.number)
        if not seen:
            return
        try:
            refuse_stale(self.order, seen)
        except ChangedMeanwhile:
            self._show_now()
            raise

    def _show_now(self) -> None:
        self._add_lines(self.order.lines.all())
        self.data = self.data.copy()  # type: ignore[attr-defined]
        self.data["seen"] = stamp_of(self.order)
        for name, field in self.fields.items():
            self.data.setdefault(name, "" if field.initial is None else str(field.initial))

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

    def change(self, terms: Terms, added: Sequence[Wanted], named: Sequence[str] = ()) -> Change:
        given = self.cleaned_data
        lines = {
            line.pk: LineChange(given[f"line-{line.pk}-packs"], given[f"line-{line.pk}-price"]) for line in self.lines
        }
        typed = [given[f"line-{line.pk}-name"] for line in self.lines if given.get(f"line-{line.pk}-name")]
        return Change(terms=terms, lines=lines, added=added, named=[*typed, *named])


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
        if looks_like_card(reference):
            raise ValidationError("That looks like a card number, which is never kept here. Write another reference.")
        return reference


def money_due(due: Decimal) -> Decimal | None:
    """Return what a payment form begins with: what is open, if anything is."""
    return due if due > 0 else None
