"""Forms for people and their addresses."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator

from breeder.base.edit_conflicts import SeenForm
from breeder.base.fields import CoordinateField, ZoneField
from breeder.base.form_messages import PlainForm
from breeder.core.compliance.regions import COUNTRIES, read_country
from breeder.people import rules
from breeder.people.address_parser import read_block
from breeder.people.models import Address, Person

TWO_LETTERS = RegexValidator(
    r"^[A-Za-z]{2}$", "Write the country as two letters, such as US, CA or DE.", code="not_two_letters"
)


class PeopleFilter(forms.Form):
    """Narrows the list of people."""

    q = forms.CharField(label="Name, e-mail or town", required=False, max_length=80)
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "everybody"), *Person.Kind.choices])


class PersonForm(SeenForm, PlainForm, forms.ModelForm):
    """A person's name, kind and contacts."""

    class Meta:
        model = Person
        fields = ["name", "kind", "email", "phone", "consent_on", "note"]
        labels = {"email": "E-mail", "consent_on": "Agreed to be kept on file on"}
        widgets = {
            "consent_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "note": forms.Textarea(attrs={"rows": 3}),
        }


class AddressPlaceFields(forms.Form):
    """Mixin: a place typed by hand for an address without a US postcode, or the choice to do without a place."""

    latitude = CoordinateField(
        label="Latitude", required=False, help_text="Of the town, such as 52.52; it is kept to 0.01° (about 1 km)."
    )
    longitude = CoordinateField(
        label="Longitude", required=False, help_text="Such as 13.41; west of Greenwich with a minus, such as -3.70."
    )
    timezone = ZoneField(label="Time zone", required=False, help_text="Such as America/Chicago or Europe/Berlin.")
    without_place = forms.BooleanField(
        label="Keep it without a place",
        required=False,
        help_text="Boxes to it stay Not decided until a place is given.",
    )

    PLACE = ("latitude", "longitude", "timezone", "without_place")

    @property
    def place_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.PLACE]

    @property
    def has_place_typed(self) -> bool:
        """Return whether a field of the place is filled in or has an error."""
        return any(field.errors or field.value() not in (None, "", False) for field in self.place_fields)

    def read_destination(self, block_name: str, *, country: str = "", postcode: str = "") -> rules.Destination | None:
        """Return the destination of the pasted address; None without an address, or if a field now shows an error."""
        given = self.cleaned_data
        if not all(name in given for name in (block_name, *self.PLACE)):
            return None
        typed = rules.TypedPlace(given["latitude"], given["longitude"], given["timezone"])
        block = given[block_name].strip()
        try:
            rules.check_place_has_address(block, typed)
            if not block:
                return None
            without = given["without_place"]
            return rules.destination(block, country=country, postcode=postcode, typed=typed, without_place=without)
        except rules.NotAPlace as refusal:
            self.add_error("latitude", refusal)
        except ValidationError as refusal:
            self.add_error(block_name, refusal)
        return None


class AddressForm(PlainForm, AddressPlaceFields):
    """An address pasted as a block; its place comes from the US postcode or from the keeper."""

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
    field_order = ("block", "country", "postcode", *AddressPlaceFields.PLACE)

    destination: rules.Destination | None = None

    def __init__(self, *args: Any, may_be_empty: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["block"].required = not may_be_empty

    def clean_country(self) -> str:
        typed = self.cleaned_data["country"].upper()
        code = read_country(typed) or typed
        if code and code not in COUNTRIES:
            raise ValidationError(
                f"‘{typed}’ is no country by ISO 3166, so no rule could be asked. Write two letters such as US or DE.",
                code="no_country",
            )
        return code

    @property
    def rest(self) -> list[forms.BoundField]:
        """Return the fields that are needed only if the block does not give their value."""
        return [self[name] for name in self.fields if name != "block"]

    @property
    def asks_for_more(self) -> bool:
        """Return whether the page opens the other fields: one has an error, or was filled in by hand before."""
        by_hand = (self.initial.get(name) for name in ("country", "postcode", "timezone", "without_place"))
        return bool(self.errors) or any(by_hand)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not self.errors:
            self.destination = self.read_destination("block", country=cleaned["country"], postcode=cleaned["postcode"])
        return cleaned


def address_form_values(address: Address) -> dict[str, Any]:
    """Return the form's values for an address: the block, and only what did not come from it or from the postcode.

    A value read from the old block would sit in a closed part of the form and overrule the next block.
    """
    country = "" if read_block(address.block).country == address.country else address.country
    read = read_block(address.block, country=country)
    postcode = "" if read.postcode == address.postcode else address.postcode
    shown: dict[str, Any] = {"block": address.block, "country": country, "postcode": postcode}
    shown["without_place"] = address.latitude is None
    if address.latitude is not None and not rules.is_of_postcode(address.country, address.postcode, address.latitude):
        shown |= {"latitude": address.latitude, "longitude": address.longitude, "timezone": address.timezone}
    return shown


class PersonRemovalForm(PlainForm, forms.Form):
    """A box to tick before a person is removed for good."""

    sure = forms.BooleanField(label="They asked for it, or no longer need to be on file")
