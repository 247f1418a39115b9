"""Forms for people and their addresses."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator

from breeder.base.edit_conflicts import SeenForm
from breeder.base.form_messages import PlainForm
from breeder.core.compliance.regions import COUNTRIES
from breeder.people import rules
from breeder.people.address_parser import read_block
from breeder.people.countries import code_of
from breeder.people.models import Address, Person

TWO_LETTERS = RegexValidator(
    r"^[A-Za-z]{2}$", "Write the country as two letters, such as US, CA or DE.", code="not_two_letters"
)


class PeopleFilter(forms.Form):
    """Narrows the list of people."""

    q = forms.CharField(label="Name, e-mail or town", required=False, max_length=80)
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "everybody"), *Person.Kind.choices])


class PersonForm(SeenForm, PlainForm, forms.ModelForm):
    """Who somebody is and how to reach them."""

    class Meta:
        model = Person
        fields = ["name", "kind", "email", "phone", "consent_on", "note"]
        labels = {"email": "E-mail", "consent_on": "Agreed to be kept on file on"}
        widgets = {
            "consent_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "note": forms.Textarea(attrs={"rows": 3}),
        }


class AddressForm(PlainForm, forms.Form):
    """An address pasted as a block; its place comes from the US postcode or is typed by hand."""

    block = forms.CharField(
        label="Address, as on the label",
        max_length=400,
        widget=forms.Textarea(attrs={"rows": 5, "autocomplete": "off"}),
        help_text="Paste it whole: name, street, town with postcode; outside the US the country as the last line.",
    )
    country = forms.CharField(
        label="Country, two letters",
        required=False,
        validators=[TWO_LETTERS],
        help_text="Left empty it is read from the address.",
    )
    postcode = forms.CharField(
        label="Postcode", required=False, max_length=12, help_text="Left empty it is read from the address."
    )
    latitude = forms.DecimalField(
        label="Latitude", required=False, help_text="Only where the postcode has no place, such as 52.52."
    )
    longitude = forms.DecimalField(label="Longitude", required=False, help_text="West of Greenwich with a minus.")
    timezone = forms.CharField(
        label="Time zone", required=False, max_length=60, help_text="Such as America/Chicago or Europe/Berlin."
    )
    without_place = forms.BooleanField(
        label="Keep it without a place",
        required=False,
        help_text="Boxes to it stay Not decided until a place is given.",
    )

    destination: rules.Destination | None = None

    def __init__(self, *args: Any, may_be_empty: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["block"].required = not may_be_empty

    def clean_country(self) -> str:
        typed = self.cleaned_data["country"].upper()
        code = code_of(typed) or typed
        if code and code not in COUNTRIES:
            raise ValidationError(
                f"‘{typed}’ is no country by ISO 3166, so no rule could be asked. Write two letters such as US or DE.",
                code="no_country",
            )
        return code

    @property
    def rest(self) -> list[forms.BoundField]:
        """Return the fields that are needed only where the block does not say it."""
        return [self[name] for name in self.fields if name != "block"]

    @property
    def asks_for_more(self) -> bool:
        """Return whether the rest is to be shown open: something is wrong, or was given by hand before."""
        by_hand = (self.initial.get(name) for name in ("country", "postcode", "timezone", "without_place"))
        return bool(self.errors) or any(by_hand)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if self.errors or not cleaned.get("block"):
            return cleaned
        typed = rules.TypedPlace(cleaned["latitude"], cleaned["longitude"], cleaned["timezone"])
        try:
            self.destination = rules.destination(
                cleaned["block"],
                country=cleaned["country"],
                postcode=cleaned["postcode"],
                typed=typed,
                without_place=cleaned["without_place"],
            )
        except ValidationError as refusal:
            self.add_error(None, refusal)
        return cleaned


def as_typed(address: Address) -> dict[str, Any]:
    """Return an address as the form shows it: beside the block only what did not come from it or from the postcode.

    What the block says itself would otherwise stand against the next block, out of sight.
    """
    country = "" if read_block(address.block).country == address.country else address.country
    read = read_block(address.block, country=country)
    postcode = "" if read.postcode == address.postcode else address.postcode
    shown: dict[str, Any] = {"block": address.block, "country": country, "postcode": postcode}
    shown["without_place"] = address.latitude is None
    if address.latitude is not None and not rules.is_of_postcode(address.country, address.postcode, address.latitude):
        shown |= {"latitude": address.latitude, "longitude": address.longitude, "timezone": address.timezone}
    return shown


class RemovalForm(PlainForm, forms.Form):
    """One tick before somebody is removed for good."""

    sure = forms.BooleanField(label="They asked for it, or no longer need to be on file")
