"""The household's settings as a form."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, RegexValidator

from breeder.base import weather_terms
from breeder.base.edit_conflicts import SeenForm
from breeder.base.fields import CoordinateField, PercentField
from breeder.base.form_messages import PlainForm
from breeder.base.models import Setting
from breeder.base.postcodes import fault_of_place, us_place
from breeder.core.compliance import regions

CURRENCY = RegexValidator(
    r"^[A-Z]{3}$", "Write the currency as three capital letters, such as USD or EUR.", "not_a_code"
)


SECTIONS = {
    "On paper and on the public list": ["trade_name", "return_address", "terms", "public_list", "few_below_packs"],
    "Units and money": ["fahrenheit", "inches", "currency"],
    "Your place": ["postcode", "latitude", "longitude", "timezone", "region"],
    "Orders": ["hold_days"],
    "Weather service": [
        "weather_service", "weather_second", "weather_contact", "weather_key", "weather_url",
    ],
    "How careful a check is": ["comfort_tolerance", "hard_tolerance"],
}  # fmt: skip
LONGEST_REGION = 60
# Ten years, and packs beyond any shelf. SQLite takes more than a calendar counts, and than another database keeps.
MOST = {"hold_days": 3_650, "few_below_packs": 10_000}


class SettingForm(SeenForm, PlainForm, forms.ModelForm):
    """Names, units, place, money and tolerances of the household."""

    postcode = forms.CharField(
        label="US postcode of home",
        required=False,
        max_length=10,
        help_text="Sets place and time zone; it is not kept. Elsewhere type latitude and longitude.",
    )
    latitude = CoordinateField(label="Latitude of home, to 0.01", required=False)
    longitude = CoordinateField(label="Longitude of home, to 0.01", required=False)
    region = forms.CharField(
        label="State or country of home",
        required=False,
        max_length=LONGEST_REGION,
        help_text="Where you send from, which rules on moving animals ask for: New York (US-NY), Germany (DE).",
    )
    comfort_tolerance = PercentField(
        label="Journeys that may leave comfort, in 100",
        places=3,
        help_text="Keeper default 20: common practice, no source.",
    )
    hard_tolerance = PercentField(
        label="Journeys that may pass a hard limit, in 100",
        places=3,
        help_text="Keeper default 5: common practice, no source.",
    )

    weather_url = forms.URLField(
        label="Your own weather server or relay",
        required=False,
        max_length=200,
        assume_scheme="https",
        help_text=weather_terms.HELP["weather_url"],
    )

    class Meta:
        model = Setting
        fields = (
            "trade_name", "return_address", "terms", "fahrenheit", "inches", "currency", "postcode", "latitude",
            "longitude", "timezone", "region", "public_list", "few_below_packs", "hold_days", "comfort_tolerance",
            "hard_tolerance", "weather_service", "weather_second", "weather_contact", "weather_key",
            "weather_url",
        )  # fmt: skip
        widgets = {
            "return_address": forms.Textarea(attrs={"rows": 4}),
            "terms": forms.Textarea(attrs={"rows": 4}),
            "weather_service": forms.Select,
            "weather_second": forms.Select,
            "weather_key": forms.PasswordInput(attrs={"autocomplete": "off"}),
        }
        labels = {
            "weather_service": "Weather service",
            "weather_second": "A second weather service",
            "currency": "Currency",
        }
        help_texts = weather_terms.HELP | {"currency": "Three letters by ISO 4217, such as USD or EUR."}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["currency"].validators.append(CURRENCY)
        for name, most in MOST.items():
            self.fields[name].validators.append(MaxValueValidator(most))
            self.fields[name].widget.attrs["max"] = most
        self.kept_key, self.initial["weather_key"] = self.instance.weather_key, ""

    @property
    def sections(self) -> list[tuple[str, list[forms.BoundField]]]:
        """Return the fields as the page shows them."""
        return [(title, [self[name] for name in names]) for title, names in SECTIONS.items()]

    def clean_weather_key(self) -> str:
        """Keep the key that is stored when nothing is typed: it is never sent back to the page."""
        return weather_terms.key_after(self.kept_key, self.cleaned_data["weather_key"])

    def clean_region(self) -> str:
        code = regions.region_code(self.cleaned_data["region"])
        if fault := regions.code_fault(code):
            raise ValidationError(fault, code="no_region")
        return code

    def clean_weather_url(self) -> str:
        return self.cleaned_data["weather_url"].rstrip("/")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if typed := cleaned.get("postcode"):
            self._place_from(typed)
        north, east = cleaned.get("latitude"), cleaned.get("longitude")
        if (north is None) != (east is None):
            self.add_error("longitude", "Give latitude and longitude together, or neither.")
        elif north is not None and (fault := fault_of_place(north, east, cleaned.get("timezone", ""))):
            self.add_error("latitude", fault)
        for name, sentence in weather_terms.faults_of(cleaned):
            self.add_error(name, sentence)
        return cleaned

    def _place_from(self, typed: str) -> None:
        place = us_place(typed)
        if place is None:
            self.add_error(
                "postcode", f"‘{typed}’ has no place in the table of US postcodes. Type latitude and longitude."
            )
            return
        self.cleaned_data.update(latitude=place.latitude, longitude=place.longitude)
        if place.region:
            self.cleaned_data["region"] = regions.region_code(place.region)
        if place.timezone:
            self.cleaned_data["timezone"] = place.timezone
