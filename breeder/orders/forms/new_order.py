"""Forms of a new order: for whom, on which terms, and how many packs."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from breeder.base.form_messages import PlainForm
from breeder.base.widgets import LeanSelect
from breeder.orders.forms.fields import (
    SEVERAL,
    AgreedDays,
    day_field,
    money_field,
    name_field,
    packs_field,
    tub_choices,
    tub_field,
)
from breeder.orders.models import Order
from breeder.orders.movement_block import NotLookedUp
from breeder.orders.queries.buyers import to_choose_from
from breeder.orders.queries.orders import LineOnOffer
from breeder.orders.rules.money import NOTHING
from breeder.orders.rules.order_status import DAYS_TO_POST, Terms, Who, end_of, usual_hold
from breeder.orders.rules.packs import Wanted
from breeder.people.forms import AddressPlaceFields
from breeder.people.models import Person
from breeder.people.queries import is_on_file

LONGEST_FIND = 80
LONGEST_ID = 18  # digits; no database counts further
PACKS, PRICE, TUB, NAME = "packs-", "price-", "tub-", "name-"


class WhoForm(PlainForm, forms.Form):
    """Whom an order is for: somebody in the book, or somebody new."""

    person = forms.ModelChoiceField(
        Person.objects.none(), required=False, empty_label="somebody new", label="Person", widget=LeanSelect
    )
    new_name = forms.CharField(label="Name, if new", max_length=120, required=False)
    email = forms.EmailField(label="E-mail, if new", required=False)

    def __init__(self, *args: Any, find: str = "", **kwargs: Any) -> None:
        """Let one of a few people be chosen: those found by `find`, else those of the latest orders."""
        super().__init__(*args, **kwargs)
        field: Any = self.fields["person"]
        field.queryset = Person.objects.filter(removed_at=None)
        self.find = find.replace("\x00", "").strip()[:LONGEST_FIND]
        self.shown = to_choose_from(self.find, chosen=self["person"].value())
        field.widget.choices = [("", field.empty_label), *((one.pk, str(one)) for one in self.shown.people)]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        person, name = given.get("person"), given.get("new_name", "").strip()
        if person is None and not name and not self.errors:
            self.add_error("new_name", "Choose somebody from the book above, or write the name of somebody new.")
        if person is not None and name and name != person.name:
            self.add_error(
                "new_name", f"{person} is chosen above, and {name} is written here. Leave one of the two empty."
            )
        if person is None and name and is_on_file(name):
            self.add_error(
                "new_name",
                f"{name} is in the book already: choose them above, or add something that tells the two apart.",
            )
        return given

    def who(self) -> Who:
        person = self.cleaned_data["person"]
        return Who(
            person_id=person.pk if person else None,
            new_name="" if person else self.cleaned_data["new_name"].strip(),
            email="" if person else self.cleaned_data["email"],
        )


class TermsForm(AgreedDays, PlainForm, AddressPlaceFields):
    """Until when an order is held, by when it is promised, postage and address."""

    address_block = forms.CharField(
        label="Address, pasted as it is on a letter",
        max_length=400,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}),
        help_text="Empty: the address that is in the book. A country other than the US goes on the last line.",
    )
    looked_up = forms.BooleanField(
        label="Looked up: it may go there",
        required=False,
        help_text="Kept with the order in the log.",
    )
    held_until = day_field("Held unpaid until the end of")
    promised_by = day_field(
        "To be posted by",
        required=False,
        help_text="Usually 30 days (16 CFR 435, USA; check it).",
    )
    postage = money_field("Postage", required=False, min_value=0)
    note = forms.CharField(max_length=1000, required=False, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, runs_out: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.runs_out = runs_out
        if not runs_out:
            del self.fields["held_until"]
        self.questions: list[str] = []

    def clean_promised_by(self) -> date | None:
        return self.checked_day("promised_by")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        given["to"] = self.read_destination("address_block")
        return given

    @property
    def asks_for_place(self) -> bool:
        """Return whether the fields of the place are shown open: the address led nowhere, or something is in them."""
        return "address_block" in self.errors or self.has_place_typed

    def terms(self) -> Terms:
        given = self.cleaned_data
        return Terms(
            held_until=end_of(given["held_until"]) if self.runs_out else None,
            promised_by=given["promised_by"],
            postage=given["postage"] or NOTHING,
            note=given["note"],
            to=given.get("to"),
            looked_up=given["looked_up"],
        )

    def refused(self, refusal: ValidationError, packs: forms.Form) -> None:
        """Show why it was refused: questions that the book leaves open beside their tick, all else over the packs."""
        if isinstance(refusal, NotLookedUp):
            self.questions = refusal.messages
        else:
            packs.add_error(None, refusal)


class PacksForm(PlainForm, forms.Form):
    """How many packs of each offer; every line's packs are fields, whether it is shown or not."""

    def __init__(self, *args: Any, lines: Sequence[LineOnOffer], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        for line in lines:
            for free in line.packs:
                self.fields[f"{PACKS}{free.offer.pk}"] = packs_field("Packs")
                if free.offer.price is None:
                    self.fields[f"{PRICE}{free.offer.pk}"] = money_field("Agreed price", required=False, min_value=0)
                if len(tubs := tub_choices(line, free.offer.stage)) > SEVERAL:
                    self.fields[f"{TUB}{free.offer.pk}"] = tub_field(tubs)
            if line.line.frozen_because:
                self.fields[f"{NAME}{line.line.pk}"] = name_field(line.line)

    def wanted(self) -> list[Wanted]:
        """Return what is wanted, also of packs that were withdrawn while the form was open."""
        found = []
        for name in self.data:
            offer_id = name.removeprefix(PACKS)
            if name.startswith(PACKS) and offer_id.isdecimal() and len(offer_id) <= LONGEST_ID:
                packs = self.cleaned_data.get(name) or self._of_withdrawn(name)
                if packs:
                    price = self.cleaned_data.get(f"{PRICE}{offer_id}")
                    tub = self.cleaned_data.get(f"{TUB}{offer_id}") or None
                    found.append(Wanted(int(offer_id), packs, price, tub))
        return found

    def named(self) -> list[str]:
        """Return what was typed as names of frozen lines."""
        return [text for name, text in self.cleaned_data.items() if name.startswith(NAME) and text]

    def _of_withdrawn(self, name: str) -> int:
        typed = str(self.data[name]).strip()
        return 1 if name not in self.fields and typed and typed != "0" else 0

    def typed_lines(self) -> set[int]:
        """Return the lines beside which something is typed, or was asked for by a link."""
        return {line.line.pk for line in self.lines if any(self._holds(free.offer.pk) for free in line.packs)}

    def _holds(self, offer_id: int) -> bool:
        return any(self[f"{name}{offer_id}"].value() for name in (PACKS, PRICE) if f"{name}{offer_id}" in self.fields)


def starting_terms(now: datetime, hold_days: int) -> dict[str, Any]:
    """Return what a new order's terms begin with."""
    return {
        "held_until": usual_hold(now, hold_days),
        "promised_by": now.date() + timedelta(days=DAYS_TO_POST),
    }


def terms_of(order: Order) -> dict[str, Any]:
    """Return the terms that an order has now, as its form begins with them."""
    return {
        "held_until": timezone.localdate(order.held_until) if order.held_until else None,
        "promised_by": order.promised_by,
        "postage": order.postage or None,
        "note": order.note,
    }
